#include <fmt/format.h>

#include <algorithm>

#include "base/text.hpp"
#include "record_content.hpp"
#include "record_documents.hpp"
#include "report/text_table.hpp"

namespace trimwright {
namespace {

std::string faults_text(const std::vector<Fault>& faults) {
  std::string text;
  for (const auto& fault : faults)
    text += fault.number == 0 ? "The archive: " + one_line(fault.what) + "\n"
                              : fmt::format("Record {}: {}\n", fault.number, one_line(fault.what));
  return text;
}

/// What a proof says of the record with the expected digest.
std::string expected_text(const Proof& proof) {
  const auto at = *proof.expected_at;
  const auto is_of = [&](const Fault& fault) { return fault.number == at; };
  if (proof.expected_holds())
    return fmt::format(
        "Record {} has the expected digest: it and all before it are those the sheet was printed from.\n",
        at);
  if (std::any_of(proof.faults.begin(), proof.faults.end(), is_of))
    return wrapped(
        "",
        fmt::format("Record {} has the expected digest written beside it, but it is NOT what the sheet was "
                    "printed from (see above). Go by the signed sheet.",
                    at));
  return wrapped(
      "", fmt::format("Record {} has the expected digest and is what the sheet was printed from. That all "
                      "before it is as it was filed is NOT so, or cannot be said (see above).",
                      at));
}

}  // namespace

std::string utc_words(std::string time) {
  if (!time.ends_with('Z')) return time;
  std::replace(time.begin(), time.end(), 'T', ' ');
  return time.replace(time.size() - 1, 1, " UTC");
}

std::string wrong_serial_words(const StoredRecord& record) {
  if (record.corrected_serial.empty() ||
      lower_case(record.corrected_serial) == lower_case(record.record.serial))
    return {};
  return ", which is of serial " + one_line(record.corrected_serial) + ": the serial of this one was wrong";
}

std::string records_text(const std::vector<StoredRecord>& records) {
  if (records.empty()) return "No record.\n";
  std::string text = "record  date        verdict                    level  serial, rotor, station, person\n";
  for (const auto& one : records) {
    text +=
        fmt::format("{:6}  {:10}  {:25}  {:5.3f}  {}, {}, {}, {}", one.number, one_line(one.record.date),
                    one_line(one.record.verdict), one.record.level, one_line(one.record.serial),
                    one_line(one.record.rotor), one_line(one.record.station), one_line(one.record.person));
    if (one.record.corrects) text += fmt::format("  (corrects {})", *one.record.corrects);
    if (one.corrected_by)
      text += fmt::format("  (corrected by {}{})", *one.corrected_by, wrong_serial_words(one));
    text += one.holds ? "\n" : "  NOT AS IT WAS FILED\n";
  }
  return text +
         "level: largest once-per-rev amplitude that the check run read, divided by its limit. What was not "
         "read "
         "is not in it;\n       where a reading is missing the verdict is not_accepted.\n";
}

std::string filed_text(const FiledTrim& filed) {
  const StoredRecord& record = filed.record;
  std::string text = fmt::format("Record {} is filed.\nDigest: {}\n", record.number, hex(record.digest));
  if (record.record.corrects)
    text += fmt::format("It corrects record {}, and differs from it in: {}.\n", *record.record.corrects,
                        filed.differs_in);
  if (!filed.verdict.empty()) text += "Verdict: " + one_line(filed.verdict) + "\n";
  if (holds_readings(record.record))
    return text + "Next: trimwright record trend tells whether something changed.\n";
  return text + fmt::format(
                    "Next: print the sheet (trimwright record sheet {}), have it signed, and keep it apart "
                    "from the archive.\n",
                    record.number);
}

std::string sent_text(const std::vector<Sent>& sent) {
  std::string text;
  std::size_t added = 0, there = 0, against = 0;
  for (const auto& one : sent) {
    if (one.fate == Sent::Fate::added) {
      ++added;
      text += fmt::format("Record {} is there now as record {}.\n", one.number, one.there);
    } else if (one.fate == Sent::Fate::there_already) {
      ++there;
      text += fmt::format("Record {} was there already as record {}.\n", one.number, one.there);
    } else {
      ++against;
      text +=
          one.there == 0
              ? fmt::format("Record {} is NOT sent: it corrects a record that was not sent.\n", one.number)
              : fmt::format(
                    "Record {} is NOT sent: it corrects a record that record {} corrects there. "
                    "Look at both, and file one more correction there that says what is right.\n",
                    one.number, one.there);
    }
  }
  return text + fmt::format("{} sent, {} there already, {} not sent.\n", added, there, against);
}

std::string proof_text(const Proof& proof) {
  std::string text = faults_text(proof.faults) + faults_text(proof.remarks);
  text += fmt::format("{} record{}, {}\n", proof.records, proof.records == 1 ? "" : "s",
                      proof.whole() ? "each as it was filed." : "NOT as they were filed.");
  text += proof.whole() ? fmt::format("Digest of the last: {}\nHead of the archive: {}\n", hex(proof.last),
                                      head_text(proof.head))
                        : "No digest of the last and no head are told: they would be of a changed archive.\n";
  return proof.expected_at ? text + expected_text(proof) : text;
}

}  // namespace trimwright

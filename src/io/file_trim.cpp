#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "base/text.hpp"
#include "filed_job.hpp"
#include "record_content.hpp"

#include "record_documents.hpp"
#include "records/refusals.hpp"
#include "report/balance_sheet.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

/// In what two documents differ, in words; nothing when they say the same.
std::string differences(const Json& before, const Json& after) {
  const std::set<std::string> follows{"trimwright", "filed_at", "filed_by",  "software", "corrects",
                                      "reason",     "check",    "influence", "as_found", "wrong_serial"};
  std::string words = earlier_visit_words(before).empty() ? "" : "as_found";
  for (const auto& [key, value] : after.items())
    if (!follows.contains(key) && (!before.contains(key) || before.at(key) != value))
      words += (words.empty() ? "" : ", ") + key;
  if (before.at("check").at("readings") != after.at("check").at("readings"))
    words += words.empty() ? "readings" : ", readings";
  return words;
}

/// In what a correction differs from the record it corrects; nothing where that is not there, which the
/// filing tells. Errors: it is of another kind; nothing differs.
Result<std::string> difference_from_corrected(const Archive& archive, const Record& record) {
  if (!record.corrects) return std::string{};
  const auto one = archive.read_as_it_stands(*record.corrects);
  if (!one || one->corrected_by) return std::string{};
  if (holds_readings(record) != holds_readings(one->record))
    return fail(fmt::format("record {} is {}", one->number,
                            holds_readings(one->record) ? "of readings, and a trim corrects it"
                                                        : "of a trim, and readings correct it"),
                "the number of a record of the same kind");
  std::string differs = one->record.serial == record.serial ? "" : "serial";
  if (holds_readings(record)) {
    if (differs.empty() && one->record.inputs != record.inputs) differs = "readings";
  } else if (const auto words = from_content(
                 *one,
                 [&](const Json& content) { return differences(content, Json::parse(record.content)); });
             words) {
    differs = *words;
  }
  if (!differs.empty()) return differs;
  return fail(fmt::format("nothing differs from record {}", one->number),
              "a correction that changes something");
}

/// When the check run was made, as it is compared.
std::string made_at(const Json& content) {
  std::string when = content.at("when");
  std::replace(when.begin(), when.end(), 'T', ' ');
  return when;
}

/// What the check run read, without the times.
Json check_readings(const Json& content) {
  Json list = Json::array();
  for (const auto& one : content.at("check").at("readings"))
    list.push_back({one.at("speed_rpm"), one.at("sensor"), one.at("component"), one.at("amplitude"),
                    one.at("phase_deg")});
  return list;
}

/// Holds a trim that corrects none against one that is filed of the same serial.
Result<void> hold_against(const StoredRecord& one, const Record& record, const Json& document,
                          std::vector<std::string>& warnings) {
  const auto judged = from_content(one, [&](const Json& content) -> std::optional<Error> {
    if (one.rule == 1 && measured_digest(one.record.serial, content) == record.inputs)
      return trim_filed_already(one.number);
    if (one.corrected_by || one.record.inputs == record.inputs)
      return std::nullopt;  // the archive tells of these
    if (made_at(content) == made_at(document))
      return filed_already(one.number,
                           fmt::format("record {} is of the same serial and of a check run made at the same "
                                       "time ({}), with other readings",
                                       one.number, shortened(made_at(document))),
                           "the time of day in \"when\" of another check run");
    if (check_readings(content) == check_readings(document))
      warnings.push_back(
          fmt::format("every reading of the check run is that of record {} ({}): was its file copied?",
                      one.number, one.record.date));
    return std::nullopt;
  });
  if (judged && *judged) return tl::unexpected(**judged);
  return {};
}

/// Refuses what is filed already, as far as the archive does not know it by its readings; what is worth a
/// look.
Result<std::vector<std::string>> held_against_filed(const Archive& archive, const Record& record) {
  std::vector<std::string> warnings;
  if (record.corrects) return warnings;
  RecordQuery query;
  query.serial = record.serial;
  const Json document = Json::parse(record.content);
  const auto all = archive.each(query, [&](StoredRecord& one) -> Result<void> {
    if (!holds_readings(record))
      return holds_readings(one.record) ? Result<void>{} : hold_against(one, record, document, warnings);
    if (one.record.inputs != record.inputs || one.corrected_by) return {};
    return tl::unexpected(
        filed_already(one.number, fmt::format("these readings are filed already as record {}", one.number),
                      "other readings"));
  });
  if (!all) return tl::unexpected(all.error());
  return warnings;
}

/// Letters put in, left out or exchanged for others, to make one name of the other.
std::size_t letters_between(const std::string& one, const std::string& other) {
  std::vector<std::size_t> row(other.size() + 1);
  for (std::size_t j = 0; j < row.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= one.size(); ++i) {
    std::size_t corner = std::exchange(row[0], i);
    for (std::size_t j = 1; j < row.size(); ++j) {
      const std::size_t above = row[j];
      row[j] = std::min({above + 1, row[j - 1] + 1, corner + (one[i - 1] == other[j - 1] ? 0U : 1U)});
      corner = above;
    }
  }
  return row.back();
}

/// Entries whose names are almost those that the sheet asks for, which then stay blank.
void warn_of_names(const Record& record, std::vector<std::string>& warnings) {
  const Json content = Json::parse(record.content);
  if (!content.contains("entries")) return;
  for (const auto& [key, text] : content.at("entries").items())
    for (const std::string asked : asked_entries())
      if (const auto apart = letters_between(lower_case(key), asked);
          key != asked && apart <= asked.size() / 3)
        warnings.push_back(
            fmt::format("the entry \"{}\" is almost \"{}\", for which the sheet has a line: was it meant?",
                        shortened(key), asked));
}

void warn_of_serials(const Archive& archive, const Record& record, std::vector<std::string>& warnings) {
  for (const auto& serial : archive.serials_alike(record.serial).value_or(std::vector<std::string>{}))
    warnings.push_back(fmt::format("the archive has records of serial \"{}\": is \"{}\" the same rotor?",
                                   shortened(serial), shortened(record.serial)));
}

/// Nothing is filed into a file that is not as it was filed. (On a server a station reads its last record.)
Result<void> check_whole(const Archive& archive, const std::string& name) {
  if (archive.on_server()) return {};
  const auto proof = archive.prove();
  if (!proof) return tl::unexpected(proof.error());
  if (proof->whole()) return {};
  const Fault& fault = proof->faults.front();
  return fail(fmt::format("the archive is not as it was filed ({}{}): nothing was filed",
                          fault.number == 0 ? "" : fmt::format("record {} ", fault.number), fault.what),
              "a backup that proves whole (trimwright record prove tells all that is wrong)", {name, 0, {}});
}

Result<JudgedTrim> judged_trim(const std::string& path, const std::string& run,
                               const FilingDetails& details) {
  const auto first = read_job(path);
  if (!first) return tl::unexpected(first.error());
  const auto files = job_files(first->sources);
  if (!files) return tl::unexpected(files.error());
  // What is filed is what is judged: the job is read from the files as they will stand in the record.
  const auto judged = judge_filed_job(*files, run);
  if (!judged) return tl::unexpected(judged.error());
  if (run.empty() && taken_out_again(judged->job, judged->verdict.run)) {
    const std::string name = "\"" + shortened(judged->job.runs[judged->verdict.run].name) + "\"";
    return fail("the job's fitted_now has other weights than the last run, " + name + ", was made with",
                "the check run after the trim as the last run, or --run " + name + " to file this one");
  }
  auto record = record_of(*judged, *files, details);
  if (!record) return tl::unexpected(record.error());
  return JudgedTrim{*std::move(record), first->sources};
}

/// Errors that name no file are about `file`.
template <class T>
Result<T> about(Result<T> result, const std::string& file) {
  if (!result && result.error().where.file.empty()) result.error().where.file = file;
  return result;
}

}  // namespace

Result<JudgedTrim> judge_trim(const std::string& path, const std::string& run, const FilingDetails& details) {
  return about(judged_trim(path, run, details), path);
}

Result<FiledTrim> file_trim(const Record& trim, const std::string& name) {
  auto archive = Archive::open(name, Archive::Opening::create_if_missing);
  if (!archive) return tl::unexpected(archive.error());
  if (const auto whole = check_whole(*archive, name); !whole) return tl::unexpected(whole.error());
  const auto differs = about(difference_from_corrected(*archive, trim), name);
  if (!differs) return tl::unexpected(differs.error());
  auto warnings = about(held_against_filed(*archive, trim), name);
  if (!warnings) return tl::unexpected(warnings.error());
  warn_of_serials(*archive, trim, *warnings);
  warn_of_names(trim, *warnings);
  auto filed = archive->file(trim);
  if (!filed) return tl::unexpected(filed.error());
  FiledTrim told{*std::move(filed), *differs, *std::move(warnings), {}};
  if (!holds_readings(trim)) told.verdict = Json::parse(trim.content).at("check").value("verdict_words", "");
  return told;
}

void keep_entries(const std::string& name, FilingDetails& details) {
  if (!details.corrects) return;
  const auto archive = Archive::open(name, Archive::Opening::existing);
  if (!archive) return;
  const auto corrected = archive->read(*details.corrects);
  if (!corrected || holds_readings(corrected->record)) return;
  const auto kept = from_content(*corrected, [&](const Json& content) {
    for (const auto& kept_one : content.at("entries").items()) {
      const auto given = std::find_if(details.entries.begin(), details.entries.end(),
                                      [&](const auto& entry) { return entry.first == kept_one.key(); });
      if (given == details.entries.end())
        details.entries.emplace_back(kept_one.key(), kept_one.value().template get<std::string>());
    }
    return true;
  });
  static_cast<void>(kept);  // a record that is not understood is told when this one is filed
}

Result<std::function<bool(const StoredRecord&)>> with_entry(const std::string& text) {
  FilingDetails asked;
  if (const auto added = add_entry(text, asked); !added) return tl::unexpected(added.error());
  const auto [key, part] = asked.entries.front();
  return [key = lower_case(key), part = lower_case(part)](const StoredRecord& one) {
    if (holds_readings(one.record)) return false;
    const auto fits = from_content(one, [&](const Json& content) {
      for (const auto& [name, value] : content.at("entries").items())
        if (lower_case(name) == key &&
            lower_case(value.template get<std::string>()).find(part) != std::string::npos)
          return true;
      return false;
    });
    return fits.value_or(false);
  };
}

Result<void> add_entry(const std::string& entry, FilingDetails& details) {
  const auto colon = entry.find(':');
  const auto text = colon == std::string::npos ? colon : entry.find_first_not_of(' ', colon + 1);
  if (colon == 0 || text == std::string::npos)
    return fail("\"" + shortened(entry) + "\" is no entry", "\"KEY: TEXT\"");
  const std::string key = entry.substr(0, colon);
  for (const auto& [other, given] : details.entries)
    if (other == key) return fail("\"" + shortened(key) + "\" is given twice", "each entry once");
  details.entries.emplace_back(key, entry.substr(text));
  return {};
}

std::string serials_words(const Archive& archive, const std::string& part) {
  std::string words;
  for (const auto& serial : archive.serials_with(part).value_or(std::vector<std::string>{}))
    words += (words.empty() ? "\"" : " or \"") + shortened(serial) + "\"";
  return words;
}

Result<std::vector<StoredRecord>> records_of(const Archive& archive, const std::string& name,
                                             const std::string& serial) {
  RecordQuery query;
  query.serial = serial;
  std::vector<StoredRecord> records;
  const auto read = archive.each(query, [&](StoredRecord& one) -> Result<void> {
    if (!one.holds) return tl::unexpected(not_as_filed(one.number, name));
    records.push_back(one);
    return {};
  });
  if (!read) return tl::unexpected(read.error());
  if (!records.empty()) return records;
  const auto longer = serials_words(archive, serial);
  return fail("the archive has no record of serial \"" + shortened(serial) + "\"",
              longer.empty() ? "a serial that trimwright record find tells" : "a whole serial: " + longer,
              {name, 0, {}});
}

}  // namespace trimwright

#include <fmt/format.h>

#include <filesystem>
#include <set>

#include "base/text.hpp"
#include "filed_job.hpp"
#include "record_content.hpp"

#include "record_documents.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

/// A trial run is not filed as the check run unless it is named.
Result<void> check_no_trial(const JudgedJob& judged, const std::string& run, bool prior) {
  if (!run.empty()) return {};
  const auto signs = trial_signs(judged.job, judged.verdict.run, prior);
  if (signs.empty()) return {};
  const std::string name = "\"" + shortened(judged.job.runs[judged.verdict.run].name) + "\"";
  return fail("the last run, " + name + ", looks like a trial run: " + signs,
              "the check run after the trim as the last run, or --run " + name + " to file this one");
}

/// In what two documents differ, in words; nothing when they say the same.
std::string differences(const Json& before, const Json& after) {
  const std::set<std::string> follows{"trimwright", "filed_at", "filed_by", "software",
                                      "corrects",   "reason",   "check",    "influence"};
  std::string words;
  for (const auto& [key, value] : after.items())
    if (!follows.contains(key) && (!before.contains(key) || before.at(key) != value))
      words += (words.empty() ? "" : ", ") + key;
  if (before.at("check").at("readings") != after.at("check").at("readings"))
    words += words.empty() ? "readings" : ", readings";
  return words;
}

/// The same trim in an archive that does not know it by its readings yet, and what the record corrected said.
Result<std::string> compared(const Archive& archive, const Record& record) {
  RecordQuery query;
  query.serial = record.serial;
  std::string differs;
  const Json document = Json::parse(record.content);
  const auto all = archive.each(query, [&](StoredRecord& one) -> Result<void> {
    const bool corrected = record.corrects == one.number;
    if (corrected && holds_readings(record) != holds_readings(one.record))
      return fail(fmt::format("record {} is {}", one.number,
                              holds_readings(one.record) ? "of readings, and a trim corrects it"
                                                         : "of a trim, and readings correct it"),
                  "the number of a record of the same kind");
    if (holds_readings(record)) {
      if (corrected && one.record.inputs != record.inputs) differs = "readings";
      if (record.corrects && !(corrected && differs.empty())) return {};
      if (one.record.inputs != record.inputs || one.corrected_by) return {};
      return fail(fmt::format("these readings are filed already as record {}", one.number),
                  fmt::format("other readings, or --corrects {} with a --reason", one.number));
    }
    const auto same = from_content(one, [&](const Json& content) {
      if (corrected) differs = differences(content, document);
      return one.rule == 1 && measured_digest(one.record.serial, content) == record.inputs;
    });
    if (corrected && differs.empty())
      return fail(fmt::format("nothing differs from record {}", one.number),
                  "a correction that changes something");
    if (record.corrects || !same.value_or(false)) return {};
    return fail(
        fmt::format("this trim is filed already as record {}: the same serial, run and readings", one.number),
        fmt::format("another trim, or --corrects {} with a --reason", one.number));
  });
  if (!all) return tl::unexpected(all.error());
  return differs;
}

Result<JudgedTrim> judged_trim(const std::string& path, const std::string& run,
                               const FilingDetails& details) {
  const auto first = read_job(path);
  if (!first) return tl::unexpected(first.error());
  const auto files = job_files(first->sources);
  if (!files) return tl::unexpected(files.error());
  // What is filed is what is judged: the job is read from the files as they will stand in the record.
  const auto file = read_filed_job(*files);
  if (!file) return tl::unexpected(file.error());
  const auto judged = judge_job(file->job, file->request, run, file->prior ? &*file->prior : nullptr);
  if (!judged) return tl::unexpected(judged.error());
  if (const auto checked = check_no_trial(*judged, run, file->prior.has_value()); !checked)
    return tl::unexpected(checked.error());
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
  const auto differs = about(compared(*archive, trim), name);
  if (!differs) return tl::unexpected(differs.error());
  auto filed = archive->file(trim);
  if (!filed) return tl::unexpected(filed.error());
  return FiledTrim{*std::move(filed), *differs};
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
    if (!one.holds)
      return fail(fmt::format("record {} is not as it was filed: its digest does not fit", one.number),
                  "a backup that proves whole", {name, 0, {}});
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

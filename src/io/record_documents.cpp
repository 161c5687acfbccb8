#include "trimwright/io/record_documents.hpp"

#include <algorithm>
#include <filesystem>

#include "json_parts.hpp"
#include "trimwright/base/date.hpp"
#include "trimwright/base/name.hpp"
#include "trimwright/base/new_file.hpp"
#include "trimwright/io/check_documents.hpp"
#include "trimwright/io/files.hpp"
#include "trimwright/io/json_documents.hpp"
#include "trimwright/plan/balance_plan.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// "2031-05-12" from "2031-05-12 14:20"; empty when the text does not begin with a date.
std::string date_of(const std::string& when) {
  return parse_date(when.substr(0, 10)) ? when.substr(0, 10) : std::string{};
}

std::string part_number(const Plane& plane, const Piece& piece) {
  const Weight* weight = piece.weight_id.empty() ? nullptr : plane.find_weight(piece.weight_id);
  return weight == nullptr ? std::string{} : weight->part_number;
}

Json place_json(const Rotor& rotor, const Plane& plane, int slot, const Piece& piece) {
  const auto position = slot_position(rotor, plane, slot);
  return {{"plane", plane.name},
          {"slot", slot},
          {"piece", piece_json(piece)},
          {"part_number", part_number(plane, piece)},
          {"moment_g_mm", piece.moment_g_mm},
          {"angle_deg", position.angle.degrees()},
          {"blade_position", position.blade}};
}

/// What `fitted` holds in slots where `other` does not hold the same; everything when `other` is empty.
Json fitted_json(const Rotor& rotor, const std::vector<FittedWeights>& fitted,
                 const std::vector<FittedWeights>* other) {
  Json list = Json::array();
  for (std::size_t p = 0; p < rotor.planes.size(); ++p) {
    for (const auto& [slot, piece] : fitted[p].slots) {
      if (other != nullptr) {
        const auto held = (*other)[p].slots.find(slot);
        if (held != (*other)[p].slots.end() && held->second == piece) continue;
      }
      list.push_back(place_json(rotor, rotor.planes[p], slot, piece));
    }
    if (other != nullptr) continue;
    for (const auto& piece : fitted[p].free)
      list.push_back({{"plane", rotor.planes[p].name},
                      {"slot", nullptr},
                      {"piece", {{"moment_g_mm", piece.moment_g_mm}}},
                      {"part_number", ""},
                      {"moment_g_mm", piece.moment_g_mm},
                      {"angle_deg", piece.at.degrees()},
                      {"blade_position", ""}});
  }
  return list;
}

/// Fitted as found (in the first run that is used), now, and what was taken out and put in between.
Json weights_json(const Job& job, std::size_t run) {
  const auto first =
      std::find_if(job.runs.begin(), job.runs.end(), [](const Run& r) { return !r.set_aside; });
  const auto& before = first->fitted;
  const auto& now = job.runs[run].fitted;
  return {{"as_found", fitted_json(job.rotor, before, nullptr)},
          {"removed", fitted_json(job.rotor, before, &now)},
          {"fitted", fitted_json(job.rotor, now, &before)},
          {"now", fitted_json(job.rotor, now, nullptr)}};
}

/// What a record is found by, as every document of it begins.
Json found_by_json(const Record& record) {
  return {{"rotor", record.rotor},
          {"serial", record.serial},
          {"station", record.station},
          {"date", record.date},
          {"person", record.person},
          {"verdict", record.verdict},
          {"worst_ratio", record.level},
          {"filed_at", record.filed_at},
          {"filed_by", record.filed_by},
          {"software", record.software},
          {"corrects", or_null(record.corrects)},
          {"reason", record.reason}};
}

Json content_json(const JudgedJob& judged, const std::vector<FiledFile>& files, const Record& record,
                  const FilingDetails& details) {
  const Job& job = judged.job;
  const Run& run = job.runs[judged.verdict.run];
  Json entries = Json::object(), filed = Json::array(), conditions = Json::object();
  for (const auto& [key, text] : details.entries) entries[key] = text;
  for (const auto& file : files) filed.push_back({{"name", file.name}, {"text", file.text}});
  for (const auto& [key, text] : run.conditions.other) conditions[key] = text;
  Json content = {{"trimwright", "record 1"}};
  content.update(found_by_json(record));
  content.update(
      {{"title", job.title},
       {"run", run.name},
       {"when", run.conditions.when},
       {"conditions", conditions},
       {"speed_tolerance_rpm", job.rotor.speed_tolerance_rpm},
       {"angles_from", job.rotor.reference.mark.empty() ? "reference tooth" : job.rotor.reference.mark},
       {"entries", entries},
       {"weights", weights_json(job, judged.verdict.run)},
       {"check", Json::parse(check_json(job, judged.verdict))},
       {"influence", Json::parse(influence_json(job, judged.model))},
       {"files", filed},
       {"cautions", cautions()}});
  return content;
}

Digest digest_of_files(const std::vector<FiledFile>& files, const std::string& run) {
  Sha256 hash;
  hash.feed_field(run);
  for (const auto& file : files) hash.feed_field(file.text);
  return hash.finish();
}

/// The innermost folder that holds all of the files.
fs::path common_folder(const std::vector<fs::path>& paths) {
  fs::path common = paths.front().parent_path();
  for (const auto& path : paths)
    while (path.lexically_relative(common).begin()->string() == "..") common = common.parent_path();
  return common;
}

}  // namespace

Result<std::vector<FiledFile>> job_files(const std::vector<std::string>& sources) {
  std::vector<fs::path> paths;
  for (const auto& source : sources) {
    std::error_code failed;
    paths.push_back(fs::absolute(source, failed).lexically_normal());
    if (failed) return fail("its folder cannot be told (" + failed.message() + ")", "", {source, 0, {}});
  }
  const fs::path common = common_folder(paths);
  std::vector<FiledFile> files;
  for (std::size_t i = 0; i < paths.size(); ++i) {
    auto text = read_text_file(sources[i]);
    if (!text) return tl::unexpected(text.error());
    files.push_back({paths[i].lexically_relative(common).generic_string(), *std::move(text)});
  }
  return files;
}

Result<Record> record_of(const JudgedJob& judged, const std::vector<FiledFile>& files,
                         const FilingDetails& details) {
  const Job& job = judged.job;
  const Run& run = job.runs[judged.verdict.run];
  for (const auto& [key, text] : details.entries) {
    if (auto checked = check_name("the entry's name", key); !checked) return tl::unexpected(checked.error());
    if (auto checked = check_name("the entry \"" + key + "\"", text); !checked)
      return tl::unexpected(checked.error());
  }
  if (auto checked = check_name("the job's title", job.title); !checked)
    return tl::unexpected(checked.error());
  Record record;
  record.rotor = job.rotor.name;
  record.serial = job.serial;
  record.station = job.station;
  record.date = date_of(run.conditions.when);
  if (record.date.empty()) record.date = date_of(details.filed_at);
  record.person = run.conditions.who;
  record.verdict = outcome_name(judged.verdict.outcome);
  record.level = judged.verdict.worst_ratio;
  record.filed_at = details.filed_at;
  record.filed_by = details.filed_by;
  record.software = details.software;
  record.corrects = details.corrects;
  record.reason = details.reason;
  record.inputs = digest_of_files(files, run.name);
  if (auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  record.content = content_json(judged, files, record, details).dump();
  return record;
}

Result<std::vector<FiledFile>> files_of(const StoredRecord& record) {
  std::vector<FiledFile> files;
  const auto content = Json::parse(record.record.content, nullptr, false);
  if (content.is_discarded() || !content.contains("files"))
    return fail("the record holds no files", "a record that trimwright filed");
  for (const auto& one : content["files"]) {
    const fs::path name = fs::path(one.value("name", "")).lexically_normal();
    if (name.empty() || name.is_absolute() || name.begin()->string() == "..")
      return fail("the record holds a file whose name leads elsewhere", "a name within a folder");
    files.push_back({name.generic_string(), one.value("text", "")});
  }
  return files;
}

Result<void> write_files(const StoredRecord& record, const std::string& folder) {
  const auto files = files_of(record);
  if (!files) return tl::unexpected(files.error());
  for (const auto& file : *files) {
    const fs::path path = fs::path(folder) / file.name;
    std::error_code failed;  // told by the writing
    fs::create_directories(path.parent_path(), failed);
    if (auto written = write_text_file(path.string(), file.text); !written) return written;
  }
  return {};
}

namespace {

/// A record's place in the archive.
Json archive_place_json(const StoredRecord& one) {
  return {{"number", one.number},
          {"digest", hex(one.digest)},
          {"previous", hex(one.previous)},
          {"corrected_by", or_null(one.corrected_by)}};
}

Json summary_json(const StoredRecord& one) {
  Json json = archive_place_json(one);
  json.update(found_by_json(one.record));
  return json;
}

Json whole_json(const StoredRecord& one) {
  Json json = Json::parse(one.record.content);
  json.update(archive_place_json(one));
  return json;
}

Json list_document(const char* kind, Json list) {
  return {{"trimwright", kind}, {"records", std::move(list)}, {"cautions", cautions()}};
}

}  // namespace

std::string record_json(const StoredRecord& record) { return whole_json(record).dump(2) + "\n"; }

std::string records_json(const std::vector<StoredRecord>& records) {
  Json list = Json::array();
  for (const auto& one : records) list.push_back(summary_json(one));
  return list_document("records 1", std::move(list)).dump(2) + "\n";
}

std::string export_json(const std::vector<StoredRecord>& records) {
  Json list = Json::array();
  for (const auto& one : records) list.push_back(whole_json(one));
  return list_document("export 1", std::move(list)).dump(2) + "\n";
}

std::string proof_json(const Proof& proof) {
  Json faults = Json::array();
  for (const auto& fault : proof.faults)
    faults.push_back(
        {{"number", fault.number == 0 ? Json(nullptr) : Json(fault.number)}, {"what", fault.what}});
  const Json json = {{"trimwright", "proof 1"},
                     {"whole", proof.whole()},
                     {"records", proof.records},
                     {"head", hex(proof.head)},
                     {"expected_at", proof.expected_at ? Json(*proof.expected_at) : Json(nullptr)},
                     {"faults", faults},
                     {"cautions", cautions()}};
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace trimwright

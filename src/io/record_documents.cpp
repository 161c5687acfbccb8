#include "record_documents.hpp"

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <set>

#include "base/date.hpp"
#include "base/name.hpp"
#include "base/new_file.hpp"
#include "base/text.hpp"
#include "record_content.hpp"
#include "runs/as_found.hpp"
#include "trimwright/files.hpp"
#include "trimwright/forecast.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

std::string part_number(const Plane& plane, const Piece& piece) {
  const Weight* weight = catalogue_weight(plane, piece);
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

/// All that is fitted.
Json fitted_json(const Rotor& rotor, const std::vector<FittedWeights>& fitted) {
  Json list = Json::array();
  for (std::size_t p = 0; p < rotor.planes.size(); ++p) {
    for (const auto& [slot, piece] : fitted[p].slots)
      list.push_back(place_json(rotor, rotor.planes[p], slot, piece));
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

/// What slots of `now` hold that they did not hold `before`.
Json newly_fitted_json(const Rotor& rotor, const std::vector<FittedWeights>& before,
                       const std::vector<FittedWeights>& now) {
  Json list = Json::array();
  for (const auto& [plane, slot, piece] : newly_fitted(before, now))
    list.push_back(place_json(rotor, rotor.planes[plane], slot, piece));
  return list;
}

/// Slots whose filler goes where `before` becomes `after`, because a weight takes its place.
Json fillers_json(const Rotor& rotor, const std::vector<FittedWeights>& before,
                  const std::vector<FittedWeights>& after) {
  Json list = Json::array();
  for (std::size_t p = 0; p < rotor.planes.size(); ++p)
    for (const auto& [slot, piece] : after[p].slots)
      if (!rotor.planes[p].filler.none() && !before[p].slots.contains(slot))
        list.push_back({{"plane", rotor.planes[p].name}, {"slot", slot}});
  return list;
}

/// What every slot holds that is not named; of planes without slots nothing.
Json others_json(const Rotor& rotor) {
  Json list = Json::array();
  for (const auto& plane : rotor.planes)
    list.push_back({{"plane", plane.name}, {"holds", plane.slots ? content_words(plane, std::nullopt) : ""}});
  return list;
}

/// Fitted as found, now, and what was taken out and put in between.
Json weights_json(const Job& job, std::size_t run) {
  const auto& before = fitted_as_found(job, run);
  const auto& now = job.runs[run].fitted;
  return {{"as_found", fitted_json(job.rotor, before)},
          {"removed", newly_fitted_json(job.rotor, now, before)},
          {"fitted", newly_fitted_json(job.rotor, before, now)},
          {"now", fitted_json(job.rotor, now)},
          {"others", others_json(job.rotor)},
          {"fillers_removed", fillers_json(job.rotor, before, now)},
          {"fillers_fitted", fillers_json(job.rotor, now, before)}};
}

/// What happened since the run before, as the job has it.
Json before_json(const Job& job, const Run& run) {
  Json list = Json::array();
  for (const auto& event : run.before) list.push_back(happened_words(job, event));
  return list;
}

Json conditions_json(const Run& run) {
  Json conditions = Json::object();
  for (const auto& [key, text] : run.conditions.other) conditions[key] = text;
  return conditions;
}

}  // namespace

Json run_readings_json(const Job& job, const Run& run) {
  Json list = Json::array();
  for (const auto& one : run.readings) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    list.push_back({{"speed_rpm", one.rpm},
                    {"speed", speed_words(job, one.speed)},
                    {"sensor", sensor.name},
                    {"unit", sensor.unit.text()},
                    {"component", one.component == Component::overall ? "overall" : "once-per-rev"},
                    {"amplitude", sensor.unit.shown_from_peak(one.amplitude)},
                    {"phase_deg", one.x ? Json(shown(sensor, *one.x, job.rotor.phase).phase_deg) : Json()}});
    tell_state(list.back(), one.state);
  }
  return list;
}

namespace {

/// The runs up to the check run: how they were made, what was fitted against as found, what was read.
Json runs_json(const Job& job, std::size_t check_run) {
  Json list = Json::array();
  const auto& found = fitted_as_found(job, check_run);
  for (std::size_t r = 0; r <= check_run; ++r) {
    const Run& run = job.runs[r];
    list.push_back({{"run", run.name},
                    {"when", run.conditions.when},
                    {"person", run.conditions.who},
                    {"conditions", conditions_json(run)},
                    {"before", before_json(job, run)},
                    {"set_aside", or_null(run.set_aside)},
                    {"removed", newly_fitted_json(job.rotor, run.fitted, found)},
                    {"fitted", newly_fitted_json(job.rotor, found, run.fitted)},
                    {"readings", run_readings_json(job, run)}});
  }
  return list;
}

/// What the runs before let one expect of the check run, at every place that there is to read.
Json expected_of(const JudgedJob& judged) {
  const Job job = job_after(judged.job, judged.verdict.run);
  const auto next = forecast(job, judged.model, job.runs[judged.verdict.run].fitted);
  return expected_json(job, readings_to_take(job, next.predictions));
}

/// What was read as found, place by place.
Json as_found_json(const Job& job, std::size_t run) {
  Json list = Json::array();
  for (const auto& place : job.places)
    for (const Component component : {Component::once_per_rev, Component::overall}) {
      const auto read = read_as_found(job, run, place.speed, place.sensor, component);
      if (!read) continue;
      const Sensor& sensor = job.rotor.sensors[place.sensor];
      Json entry = place_json(job, place.speed, place.sensor);
      entry.update({{"unit", sensor.unit.text()},
                    {"component", component == Component::overall ? "overall" : "once-per-rev"},
                    {"amplitude", sensor.unit.shown_from_peak(read->amplitude)},
                    {"phase_deg",
                     read->x ? Json(shown(sensor, *read->x, job.rotor.phase).phase_deg) : Json(nullptr)}});
      list.push_back(std::move(entry));
    }
  return list;
}

}  // namespace

std::string state_in(const Json& reading) {
  std::string words;
  for (const char* key : {"approach", "state"})
    if (reading.contains(key)) words += ", " + reading.at(key).get<std::string>();
  return words;
}

Digest measured_digest(const std::string& serial, const Json& content) {
  std::set<std::string> lines;
  for (const auto& one : content.at("check").at("readings"))
    lines.insert(
        fmt::format(
            "{:.6g} {} {} {:.6g} {}", one.at("speed_rpm").get<double>(), one.at("sensor").get<std::string>(),
            one.at("component").get<std::string>(), one.at("amplitude").get<double>(),
            one.at("phase_deg").is_null() ? "-" : fmt::format("{:.6g}", one.at("phase_deg").get<double>())) +
        state_in(one));
  std::string when = content.at("when");
  std::replace(when.begin(), when.end(), 'T', ' ');
  Sha256 hash;
  hash.feed_field(lower_case(serial));
  hash.feed_field(when);
  for (const auto& line : lines) hash.feed_field(line);
  return hash.finish();
}

namespace {

Json content_json(const JudgedJob& judged, const std::vector<FiledFile>& files, const Record& record,
                  const FilingDetails& details) {
  const Job& job = judged.job;
  const Run& run = job.runs[judged.verdict.run];
  Json entries = Json::object(), filed = Json::array();
  for (const auto& [key, text] : details.entries) entries[key] = text;
  for (const auto& file : files) filed.push_back({{"name", file.name}, {"text", file.text}});
  Json content = {{"trimwright", "record 1"}};
  content.update(found_by_json(record));
  content.update(
      {{"title", job.title},
       {"run", run.name},
       {"when", run.conditions.when},
       {"conditions", conditions_json(run)},
       {"speed_tolerance_rpm", job.rotor.speed_tolerance_rpm},
       {"angles_from", job.rotor.reference.mark.empty() ? "reference tooth" : job.rotor.reference.mark},
       {"entries", entries},
       {"weights", weights_json(job, judged.verdict.run)},
       {"runs", runs_json(job, judged.verdict.run)},
       {"as_found", as_found_json(job, judged.verdict.run)},
       {"expected", expected_of(judged)},
       {"check", Json::parse(check_json(job, judged.verdict))},
       {"influence", Json::parse(influence_json(job, judged.model))},
       {"files", filed},
       {"cautions", cautions()}});
  if (!details.wrong_serial.empty()) content["wrong_serial"] = details.wrong_serial;
  return content;
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
    std::string name = paths[i].lexically_relative(common).generic_string();
    if (const auto checked = check_name("the file's name", name); !checked)
      return fail(checked.error().what, checked.error().expected, {sources[i], 0, {}});
    files.push_back({std::move(name), *std::move(text)});
  }
  return files;
}

namespace {

/// Days before the filing that a check run may have been made without a word.
constexpr int days_without_a_word = 366;

std::optional<std::chrono::sys_days> day_of(const std::string& text) {
  const auto date = parse_date(text.substr(0, 10));
  return date ? std::optional(std::chrono::sys_days(*date)) : std::nullopt;
}

}  // namespace

Result<std::string> filing_date(const std::string& what, const std::string& when,
                                const FilingDetails& details) {
  const std::string date = when.substr(0, 10);
  const auto day = day_of(when), today = day_of(details.filed_at);
  if (!day)
    return fail(when.empty() ? what + " does not say when it was made"
                             : what + " was made at \"" + shortened(when) + "\", which begins with no date",
                "\"when: 2031-05-12 14:20\" of that run");
  if (!details.dated.empty() && details.dated != date)
    return fail("--dated says " + shortened(details.dated) + ", " + what + " was made on " + date,
                "the same date in both");
  const bool usual = today && *day <= *today + std::chrono::days(1) &&
                     *day >= *today - std::chrono::days(days_without_a_word);
  if (usual || !details.dated.empty()) return date;
  return fail(what + " was made on " + date + ", and today is " + details.filed_at.substr(0, 10),
              "its right date, or --dated " + date + " where that is right");
}

namespace {

/// The day, and the time of day where both tell it.
bool made_before(const std::string& one, const std::string& other) {
  if (!day_of(one) || !day_of(other)) return false;
  const auto time = [](const std::string& when) {
    return when.size() >= 16 && when[13] == ':' ? when.substr(11, 5) : std::string{};
  };
  const int days = one.compare(0, 10, other, 0, 10);
  if (days != 0 || time(one).empty() || time(other).empty()) return days < 0;
  return time(one) < time(other);
}

/// No run that leads to the check run was made after it.
Result<void> check_order(const Job& job, std::size_t check_run) {
  const Run& check = job.runs[check_run];
  for (std::size_t r = 0; r < check_run; ++r) {
    const Run& run = job.runs[r];
    if (!made_before(check.conditions.when, run.conditions.when)) continue;
    return fail(fmt::format("the check run \"{}\" was made at {}, before run \"{}\", which was made at {}",
                            shortened(check.name), shortened(check.conditions.when), shortened(run.name),
                            shortened(run.conditions.when)),
                "the right \"when\" of both runs: the check run is made after the runs before it");
  }
  return {};
}

}  // namespace

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
  auto date = filing_date("the check run", run.conditions.when, details);
  if (!date) return tl::unexpected(date.error());
  record.date = *std::move(date);
  record.person = run.conditions.who;
  record.verdict = outcome_name(judged.verdict.outcome);
  record.level = judged.verdict.worst_ratio;
  record.filed_at = details.filed_at;
  record.filed_by = details.filed_by;
  record.software = details.software;
  record.corrects = details.corrects;
  record.reason = details.reason;
  record.wrong_serial = details.wrong_serial;
  if (auto order = check_order(job, judged.verdict.run); !order) return tl::unexpected(order.error());
  if (auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  const Json content = content_json(judged, files, record, details);
  record.inputs = measured_digest(job.serial, content);
  record.content = content.dump();
  return record;
}

Result<std::vector<FiledFile>> files_of(const StoredRecord& record) {
  auto files = from_any_content(record, [](const Json& content) {
    std::vector<FiledFile> all;
    for (const auto& one : content.at("files")) all.push_back({one.at("name"), one.at("text")});
    return all;
  });
  if (!files) return files;
  for (const auto& file : *files)
    if (const fs::path name = fs::path(file.name).lexically_normal();
        name.empty() || name.is_absolute() || name.begin()->string() == "..")
      return fail("the record holds a file whose name leads elsewhere", "a name within a folder");
  return files;
}

Result<void> write_files(const std::vector<FiledFile>& files, const std::string& folder) {
  for (const auto& file : files) {
    const fs::path path = fs::path(folder) / file.name;
    std::error_code failed;  // told by the writing
    fs::create_directories(path.parent_path(), failed);
    if (auto written = write_text_file(path.string(), file.text); !written) return written;
  }
  return {};
}

Result<void> write_files_anew(const std::vector<FiledFile>& files, const std::string& folder) {
  std::error_code none;
  if (fs::exists(folder, none)) return fail("this is there already", "a new folder", {folder, unwritten, {}});
  auto written = write_files(files, folder);
  if (!written) fs::remove_all(folder, none);
  return written;
}

}  // namespace trimwright

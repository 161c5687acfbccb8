#include "record_documents.hpp"

#include <algorithm>
#include <set>

#include "base/text.hpp"
#include "record_content.hpp"
#include "runs/as_found.hpp"
#include "trimwright/files.hpp"
#include "trimwright/forecast.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

std::string part_number(const Plane& plane, const Piece& piece) {
  const Weight* weight = catalogue_weight(plane, piece);
  return weight == nullptr ? std::string{} : weight->part_number;
}

Json slot_json(const Rotor& rotor, const Plane& plane, int slot, const Piece& piece) {
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
      list.push_back(slot_json(rotor, rotor.planes[p], slot, piece));
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
    list.push_back(slot_json(rotor, rotor.planes[plane], slot, piece));
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
                    {"component", name(one.component)},
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
                    {"component", name(component)},
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
  content.update({{"title", job.title},
                  {"run", run.name},
                  {"when", run.conditions.when},
                  {"conditions", conditions_json(run)},
                  {"speed_tolerance_rpm", job.rotor.speed_tolerance_rpm},
                  {"angles_from", zero_words(job.rotor)},
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
  if (auto order = check_made_in_order(job, judged.verdict.run); !order) return tl::unexpected(order.error());
  if (auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  const Json content = content_json(judged, files, record, details);
  record.inputs = measured_digest(job.serial, content);
  record.content = content.dump();
  return record;
}

}  // namespace trimwright

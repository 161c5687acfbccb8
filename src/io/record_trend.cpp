#include "record_trend.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "base/text.hpp"
#include "filed_job.hpp"
#include "json_parts.hpp"
#include "record_content.hpp"
#include "report/convention_words.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

Error in_record(Error error, const StoredRecord& record) {
  const std::string file = error.where.file;
  error.where.file = fmt::format("record {}{}", record.number, file.empty() ? "" : ", " + file);
  return error;
}

/// A trim and what is known after it.
Result<TrendInput> trim_in(const StoredRecord& record) {
  const auto files = files_of(record);
  auto file = files ? read_filed_job(*files) : tl::unexpected(files.error());
  if (!file) return tl::unexpected(in_record(file.error(), record));
  const auto name =
      from_content(record, [](const Json& content) { return content.at("run").get<std::string>(); });
  const auto run = name ? find_check_run(file->job, *name) : tl::unexpected(name.error());
  if (!run) return tl::unexpected(in_record(run.error(), record));
  TrendInput input;
  input.prior = std::move(file->prior);
  input.job = job_after(file->job, *run);
  if (auto settled = settle_and_fit(input.job, {}, input.prior ? &*input.prior : nullptr))
    input.job = std::move(settled->job);
  input.since = input.job.runs[*run].conditions.when;
  std::replace(input.since.begin(), input.since.end(), 'T', ' ');
  input.trim = fmt::format("the trim of {} (record {})", record.record.date, record.number);
  return input;
}

/// Readings of a record, and the rotor they are of.
struct Filed {
  Rotor rotor;
  std::vector<Run> dates;
};

Result<Filed> readings_in(const StoredRecord& record) {
  const auto files = files_of(record);
  auto filed = files ? read_filed_readings(*files) : tl::unexpected(files.error());
  if (!filed) return tl::unexpected(in_record(filed.error(), record));
  return Filed{std::move(filed->rotor), std::move(filed->readings.dates)};
}

bool same_reading(const Reading& a, const Reading& b) {
  return a.sensor == b.sensor && a.component == b.component && a.rpm == b.rpm && a.amplitude == b.amplitude &&
         a.state == b.state && a.x == b.x;
}

/// The dates of one spell: each once, whichever tables it stands in, with the sensors of the spell's rotor.
class Dates {
 public:
  explicit Dates(const Rotor& rotor) : rotor_(rotor) {}

  void add(const Run& date, const Rotor& read_on) {
    Run& run = dates_[date.name];
    run.name = run.conditions.when = date.name;
    if (run.conditions.other.empty()) run.conditions.other = date.conditions.other;
    for (Reading reading : date.readings) {
      const Sensor& sensor = read_on.sensors[reading.sensor];
      const auto same = rotor_.sensor_named(sensor.name);
      if (!same || rotor_.sensors[*same].unit.symbol != sensor.unit.symbol) {
        left_out_.insert(sensor.name);
        continue;
      }
      reading.sensor = *same;
      if (std::none_of(run.readings.begin(), run.readings.end(),
                       [&](const Reading& other) { return same_reading(reading, other); }))
        run.readings.push_back(std::move(reading));
    }
  }

  [[nodiscard]] std::vector<Run> dates() const {
    std::vector<Run> all;
    for (const auto& [when, run] : dates_)
      if (!run.readings.empty()) all.push_back(run);
    return all;
  }
  /// Sensors that the rotor of the spell does not have, or in another unit.
  [[nodiscard]] std::vector<std::string> notes() const {
    std::vector<std::string> notes;
    for (const auto& name : left_out_)
      notes.push_back("Left out, because the trim before has no sensor of this name and unit: " + name + ".");
    return notes;
  }

 private:
  const Rotor& rotor_;
  std::map<std::string, Run> dates_;
  std::set<std::string> left_out_;
};

/// Whether a date is after a trim: nothing where it is of the same day and they do not tell.
std::optional<bool> is_after(const std::string& date, const std::string& trim) {
  const bool timed = date.size() > 10 && trim.size() > 10 && parse_when(trim);
  if (date.substr(0, 10) == trim.substr(0, 10) && !timed) return std::nullopt;
  return date > trim;
}

Result<TrendSpell> spell_of(TrendInput input, const std::string& next, const std::vector<Filed>& filed,
                            const std::string& from) {
  std::vector<std::string> same_day;
  const auto belongs = [&](const Run& date) {
    const auto after = input.since.empty() ? std::optional(true) : is_after(date.name, input.since);
    const auto before = next.empty() ? std::optional(false) : is_after(date.name, next);
    if (!after && std::find(same_day.begin(), same_day.end(), date.name) == same_day.end())
      same_day.push_back(date.name);
    return after.value_or(false) && before.has_value() && !*before && date.name >= from;
  };
  if (input.job.runs.empty()) {  // no trim: the rotor of the first readings
    const Filed* first = nullptr;
    for (const auto& one : filed)
      if (first == nullptr && std::any_of(one.dates.begin(), one.dates.end(), belongs)) first = &one;
    if (first == nullptr) return TrendSpell{};
    input.job.rotor = first->rotor;
  }
  Dates dates(input.job.rotor);
  for (const auto& one : filed)
    for (const auto& date : one.dates)
      if (belongs(date)) dates.add(date, one.rotor);
  input.dates = dates.dates();
  if (input.dates.empty()) return TrendSpell{};
  auto spell = trend_spell(input);
  if (!spell) return spell;
  const auto notes = dates.notes();
  spell->notes.insert(spell->notes.end(), notes.begin(), notes.end());
  for (const auto& date : same_day)
    spell->notes.push_back(
        "Left out, because it is of the day of the trim and one of them has no time: " + date + ".");
  return spell;
}

}  // namespace

Result<Trend> trend_of(const std::vector<StoredRecord>& records, const std::string& from) {
  std::vector<TrendInput> trims(1);
  std::vector<Filed> filed;
  for (const auto& record : records) {
    if (record.corrected_by) continue;
    if (holds_readings(record.record)) {
      auto one = readings_in(record);
      if (!one) return tl::unexpected(one.error());
      filed.push_back(*std::move(one));
    } else {
      auto one = trim_in(record);
      if (!one) return tl::unexpected(one.error());
      trims.push_back(*std::move(one));
    }
  }
  std::stable_sort(trims.begin() + 1, trims.end(),
                   [](const TrendInput& a, const TrendInput& b) { return a.since < b.since; });
  Trend trend;
  trend.rotor = records.front().record.rotor;
  trend.serial = records.front().record.serial;
  trims.front().job.serial = trend.serial;
  for (std::size_t i = 0; i < trims.size(); ++i) {
    const std::string next = i + 1 < trims.size() ? trims[i + 1].since : "";
    auto spell = spell_of(std::move(trims[i]), next, filed, from);
    if (!spell) return tl::unexpected(spell.error());
    if (!spell->dates.empty()) trend.spells.push_back(*std::move(spell));
  }
  if (!trend.spells.empty()) return trend;
  return fail("no reading without a trim is filed of serial \"" + shortened(trend.serial) + "\"" +
                  (from.empty() ? "" : " from " + from + " on"),
              "readings filed with trimwright record readings");
}

namespace {

Json shown_json(const Job& job, const TrendPlace& place, const std::optional<Phasor>& x) {
  if (!x) return nullptr;
  const auto one = shown(job.rotor.sensors[place.place.sensor], *x, job.rotor.phase);
  return {{"amplitude", one.amplitude}, {"phase_deg", one.phase_deg}};
}

Json place_of_trend_json(const TrendSpell& spell, const TrendPlace& place) {
  const VibrationUnit& unit = spell.job.rotor.sensors[place.place.sensor].unit;
  Json json = place_json(spell.job, place.place.speed, place.place.sensor);
  json["unit"] = unit.text();
  json["limit"] = unit.shown_from_peak(place.place.limit);
  json["target"] = place.place.target ? Json(unit.shown_from_peak(*place.place.target)) : Json();
  Json readings = Json::array();
  for (std::size_t t = 0; t < place.readings.size(); ++t) {
    const TrendReading& one = place.readings[t];
    if (!one.x) continue;
    readings.push_back({{"date", spell.dates[t].when},
                        {"read", shown_json(spell.job, place, one.x)},
                        {"expected", shown_json(spell.job, place, one.expected)},
                        {"sd", one.expected ? Json(unit.shown_from_peak(one.sd)) : Json()},
                        {"score", one.score ? Json(std::abs(*one.score)) : Json()}});
  }
  json["readings"] = readings;
  return json;
}

Json date_json(const TrendDate& date) {
  return {{"date", date.when},
          {"note", date.note},
          {"reading_over_its_limit", date.judged.alone},
          {"sum_over_its_limit", date.judged.sum}};
}

Json change_json(const TrendSpell& spell, const TrendChange& change) {
  Json places = Json::array();
  for (const auto& one : change.places) {
    const TrendPlace& place = spell.places[one.place];
    const VibrationUnit& unit = spell.job.rotor.sensors[place.place.sensor].unit;
    Json json = place_json(spell.job, place.place.speed, place.place.sensor);
    json["before"] = shown_json(spell.job, place, one.before);
    json["after"] = shown_json(spell.job, place, one.after);
    json["change"] = unit.shown_from_peak(std::abs(one.after - one.before));
    json["sd"] = unit.shown_from_peak(one.sd);
    json["share_of_limit"] = one.share_of_limit;
    places.push_back(std::move(json));
  }
  return {{"kind", kind_name(change.kind)},
          {"before", change.before.empty() ? Json() : Json(change.before)},
          {"first", change.first},
          {"last", change.last},
          {"found", change.found},
          {"found_by", change.by_one_date ? "one_date" : "sum"},
          {"cause", mistake_name(change.cause)},
          {"probability", change.probability},
          {"what", change.what},
          {"largest_share_of_limit", change.largest_share},
          {"significant", change.significant()},
          {"words", change_words(change)},
          {"places", places}};
}

Json spell_json(const TrendSpell& spell) {
  Json dates = Json::array(), places = Json::array(), changes = Json::array(), scatter = Json::array();
  for (const auto& one : spell.dates) dates.push_back(date_json(one));
  for (const auto& one : spell.places) places.push_back(place_of_trend_json(spell, one));
  for (const auto& one : spell.changes) changes.push_back(change_json(spell, one));
  for (const auto& [sensor, times] : spell.scatter)
    scatter.push_back({{"sensor", sensor}, {"times_stated", times}});
  return {{"trim", spell.trim.empty() ? Json() : Json(spell.trim)},
          {"since", spell.since.empty() ? Json() : Json(spell.since)},
          {"foretold", spell.foretold},
          {"phase_convention", convention_words(spell.job.rotor.phase)},
          {"dates", dates},
          {"places", places},
          {"changes", changes},
          {"scatter", scatter},
          {"notes", spell.notes}};
}

}  // namespace

std::string trend_json(const Trend& trend) {
  Json spells = Json::array();
  for (const auto& spell : trend.spells) spells.push_back(spell_json(spell));
  const Json json = {{"trimwright", "trend 1"}, {"rotor", trend.rotor},        {"serial", trend.serial},
                     {"spells", spells},        {"words", trend_words(trend)}, {"cautions", cautions()}};
  return json.dump(2) + "\n";
}

}  // namespace trimwright

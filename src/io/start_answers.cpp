#include "start_answers.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/name.hpp"
#include "base/text.hpp"
#include "start_lists.hpp"
#include "trade_values.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {
namespace {

/// "front in/s peak": the unit begins at the first word that makes one with those behind it.
Result<StartSensor> parse_start_sensor(const std::string& text, const std::vector<std::string>& names) {
  std::optional<VibrationUnit> unit;
  std::size_t blank = text.find(' ');
  for (; blank != text.npos && !unit; blank = unit ? blank : text.find(' ', blank + 1))
    if (const auto found = parse_vibration_unit(text.substr(blank + 1))) unit = *found;
  if (!unit)
    return fail(
        "\"" + shortened(text) + "\" is no sensor with its unit",
        "a name and a unit with peak, pp or rms for each sensor, such as \"front in/s peak, rear mil pp\"");
  std::string called = text.substr(0, blank);
  for (const auto quantity :
       {MotionQuantity::displacement, MotionQuantity::velocity, MotionQuantity::acceleration}) {
    const std::string rest = without_last_word(called, std::string(name(quantity)));
    if (rest != called && quantity != unit->quantity)
      return fail(
          "\"" + shortened(text) + "\": " + unit->text() + " is no unit of " + std::string(name(quantity)),
          "a unit of " + std::string(name(quantity)));
    called = rest;
  }
  const auto name = name_apart(called, names);
  if (!name) return tl::unexpected(name.error());
  return StartSensor{*name, *unit};
}

/// "1.0 in/s", or "1.0" in the sensor's own unit, as a rotor file has it; above zero.
Result<std::string> amplitude_of(const std::string& text, const StartSensor& sensor) {
  const auto quantity = parse_quantity(text);
  const std::string whole = quantity && quantity->unit.empty() ? text + " " + sensor.unit.symbol : text;
  const auto peak = parse_peak_amplitude(whole, sensor.unit);
  if (!peak) return tl::unexpected(peak.error());
  if (!(*peak > 0.0)) return fail("\"" + shortened(text) + "\" is no level", "an amplitude above zero");
  return whole;
}

/// "limit 1.0 in/s, target 0.3", "1.0 in/s target 0.3", "1.0 in/s".
Result<void> take_limit(const std::string& text, StartSensor& sensor) {
  const std::string lower = lower_case(text);
  const auto at = lower.find("target");
  std::string limit = without_blanks_around(text.substr(0, at));
  if (limit.ends_with(',')) limit.pop_back();
  if (lower.starts_with("limit")) limit.erase(0, std::string_view("limit").size());
  auto read = amplitude_of(without_blanks_around(limit), sensor);
  const std::string expected =
      "a limit, and a target where there is one, such as \"limit 1.0 in/s, target 0.3 in/s\"";
  if (!read) return fail("sensor \"" + sensor.name + "\": " + read.error().what, expected);
  sensor.limit = *read;
  if (at == text.npos) return {};
  auto target =
      amplitude_of(without_blanks_around(text.substr(at + std::string_view("target").size())), sensor);
  if (!target) return fail("sensor \"" + sensor.name + "\": " + target.error().what, expected);
  LimitBand band;
  band.limit = *parse_peak_amplitude(*read, sensor.unit);
  band.target = *parse_peak_amplitude(*target, sensor.unit);
  if (const auto possible = check_target(band); !possible)
    return fail("sensor \"" + sensor.name + "\": " + possible.error().what, possible.error().expected);
  sensor.target = *target;
  return {};
}

/// The speeds of "3200 3600, 4104 rpm": a number begins each.
std::vector<std::string> speed_items(const std::string& text) {
  std::vector<std::string> speeds;
  std::string plain = text;
  std::replace(plain.begin(), plain.end(), ';', ',');
  for (const auto& item : listed_items(plain)) {
    bool begun = false;
    for (const auto& word : words_of(item)) {
      const bool number = word[0] >= '0' && word[0] <= '9';
      if (number || !begun)
        speeds.push_back(word);
      else
        speeds.back() += " " + word;
      begun = true;
    }
  }
  return speeds;
}

/// What an answer says of each sensor; error where none is told yet.
Result<std::vector<std::string>> told_of_sensors(const std::string& answer, const StartJob& job) {
  if (job.sensors.empty())
    return fail("no sensor is told that this is about", "the sensors too, with their units");
  return told_of_each(answer, names_of(job.sensors), "sensor");
}

}  // namespace

Result<void> take_name(const std::string& answer, StartJob& job) {
  return parse_name(answer).map([&](const std::string& name) { job.name = name; });
}

Result<void> take_serial(const std::string& answer, StartJob& job) {
  return parse_name(answer).map([&](const std::string& serial) { job.serial = serial; });
}

Result<void> take_rotation(const std::string& answer, StartJob& job) {
  for (const auto sense : {Sense::clockwise, Sense::counterclockwise})
    for (const auto end : {ViewingEnd::front, ViewingEnd::aft})
      if (lower_case(in_plain_words(answer)) == fmt::format("{} from {}", name(sense), name(end))) {
        job.rotation = {sense, end};
        return {};
      }
  return fail(
      "\"" + shortened(answer) + "\" does not say how the rotor turns",
      "clockwise from front, clockwise from aft, counterclockwise from front or counterclockwise from aft");
}

Result<void> take_phase(const std::string& answer, StartJob& job) {
  std::string phase = without_last_word(lower_case(in_plain_words(answer)), "deg");
  if (phase.ends_with(',')) phase.pop_back();
  if (phase != "lag" && phase != "lead" && phase != "unknown")
    return fail("\"" + shortened(answer) + "\" is no way to count phase", "lag, lead or unknown");
  job.phase = phase;
  return {};
}

Result<void> take_teeth(const std::string& answer, StartJob& job) {
  const auto count = whole_number(without_last_word(without_last_word(answer, "teeth"), "tooth"), most_teeth);
  if (!count)
    return fail("\"" + shortened(answer) + "\" is no number of teeth",
                fmt::format("a whole number from 1 to {}", most_teeth));
  job.teeth = *count;
  return {};
}

Result<void> take_sensors(const std::string& answer, StartJob& job) {
  std::vector<StartSensor> sensors;
  std::vector<std::string> names;
  for (const auto& one : listed_items(answer)) {
    const auto sensor = parse_start_sensor(one, names);
    if (!sensor) return tl::unexpected(sensor.error());
    names.push_back(sensor->name);
    sensors.push_back(*sensor);
  }
  job.sensors = sensors;
  return {};
}

Result<void> take_limits(const std::string& answer, StartJob& job) {
  const auto told = told_of_sensors(answer, job);
  if (!told) return tl::unexpected(told.error());
  for (std::size_t s = 0; s < job.sensors.size(); ++s)
    if (!says_nothing((*told)[s]))
      if (const auto taken = take_limit((*told)[s], job.sensors[s]); !taken) return taken;
  return {};
}

Result<void> take_repeatability(const std::string& answer, StartJob& job) {
  std::string each;
  for (const auto& one : listed_items(answer)) each += (each.empty() ? "" : "; ") + one;
  const auto told = told_of_sensors(each, job);
  if (!told) return tl::unexpected(told.error());
  for (std::size_t s = 0; s < job.sensors.size(); ++s) {
    if (says_nothing((*told)[s])) continue;
    const auto amplitude = amplitude_of((*told)[s], job.sensors[s]);
    if (!amplitude) return tl::unexpected(amplitude.error());
    job.sensors[s].differ = *parse_peak_amplitude(*amplitude, job.sensors[s].unit);
  }
  return {};
}

Result<void> take_speeds(const std::string& answer, StartJob& job) {
  constexpr double largest_share = 105.0;
  Rotor rotor;
  rotor.speed_100_rpm = 1.0;  // what 100 % is comes later
  job.speeds.clear();
  for (std::string one : with_units_behind(speed_items(answer))) {
    const auto quantity = parse_quantity(one);
    if (quantity && quantity->unit.empty() && quantity->value > largest_share) one += " rpm";
    const auto rpm = parse_speed(one, rotor);
    if (!rpm) return tl::unexpected(rpm.error());
    if (one.ends_with('%') && *rpm > 0.01 * largest_share)
      return fail("\"" + shortened(one) + "\" is above 105 % of the speed that is 100 %",
                  "a speed that is run");
    if (std::find(job.speeds.begin(), job.speeds.end(), one) != job.speeds.end())
      return fail("\"" + one + "\" stands here twice", "each speed once");
    job.speeds.push_back(one);
  }
  return {};
}

Result<void> take_speed_100(const std::string& answer, StartJob& job) {
  const auto quantity = parse_quantity(answer);
  const std::string text = quantity && quantity->unit.empty() ? answer + " rpm" : answer;
  const auto full = parse_rpm(text);
  if (!full) return tl::unexpected(full.error());
  for (const auto& speed : job.speeds)
    if (const auto rpm = parse_rpm(speed); rpm && *rpm > 1.05 * *full)
      return fail("\"" + shortened(speed) + "\" is above 105 % of \"" + shortened(text) + "\"",
                  "what 100 % is: at least the highest speed that is run, or nothing");
  job.speed_100 = text;
  return {};
}

Result<void> take_mass(const std::string& answer, StartJob& job) {
  const auto mass = parse_mass_g(answer);
  if (!mass) return fail(mass.error().what, "a mass with its unit, such as \"260 kg\" or \"570 lb\"");
  if (!(*mass > 0.0)) return fail("a rotor has mass", "a mass above zero, such as \"260 kg\"");
  job.mass = answer;
  return {};
}

}  // namespace trimwright

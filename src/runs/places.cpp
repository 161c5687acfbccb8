#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>
#include <stdexcept>
#include <tuple>

#include "base/name.hpp"
#include "trimwright/job.hpp"

namespace trimwright {
namespace {

/// Speed points of a job; a thousand readings make a few dozen.
constexpr std::size_t most_speed_points = 500;
/// How far outside what was read a round set point may lie: what a hand on a lever and a display do.
constexpr double set_point_slack = 0.001;
constexpr double round_rpm = 50.0;

/// The point that `rpm` belongs to, or the end. Error where there are two.
Result<std::set<double>::const_iterator> point_near(const Rotor& rotor, const std::set<double>& points,
                                                    double rpm, const Location& where) {
  const auto is_near = [&](double point) { return same_speed(rotor, point, rpm); };
  const double around = 2.0 * rotor.speed_tolerance_rpm;  // all that can be near
  const auto to = points.upper_bound(rpm + around);
  const auto first = std::find_if(points.lower_bound(rpm - around), to, is_near);
  if (first == to) return points.end();
  if (std::any_of(std::next(first), to, is_near))
    return fail(fmt::format("{:.1f} rpm lies within the tolerance ({:.1f} rpm) of two speed points", rpm,
                            rotor.speed_tolerance_rpm),
                "speeds that are clearly one point or clearly two; see speed_tolerance in the rotor file",
                where);
  return first;
}

/// The points: those set, and the first reading's of each other.
Result<std::set<double>> speed_points(const Job& job, const std::vector<SetSpeed>& set) {
  std::set<double> points;
  for (const auto& speed : set) points.insert(speed.rpm);
  for (const auto& run : job.runs)
    for (const auto& reading : run.readings) {
      const auto near = point_near(job.rotor, points, reading.rpm, reading.where);
      if (!near) return tl::unexpected(near.error());
      if (*near == points.end()) points.insert(reading.rpm);
      if (points.size() > most_speed_points)
        return fail("the readings are at too many different speeds", "at most 500 speed points",
                    reading.where);
    }
  return points;
}

/// The round speed near `low` to `high`: a whole percent of full speed, or else a multiple of 50 rpm.
std::optional<double> round_speed(const Rotor& rotor, double low, double high) {
  const double slack = set_point_slack * rotor.speed_100_rpm.value_or(high);
  const auto fits = [&](double rpm) {
    return rpm >= low - slack && rpm <= high + slack && same_speed(rotor, rpm, low) &&
           same_speed(rotor, rpm, high);
  };
  const double middle = 0.5 * (low + high);
  const double step = rotor.speed_100_rpm ? *rotor.speed_100_rpm / 100.0 : round_rpm;
  const double rpm = step * std::round(middle / step);
  return fits(rpm) ? std::optional(rpm) : std::nullopt;
}

/// Moves points that nobody set to the round speeds their readings agree with.
void round_points(Job& job, const std::vector<SetSpeed>& set) {
  for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s) {
    double& point = job.speeds_rpm[s];
    if (std::any_of(set.begin(), set.end(), [&](const SetSpeed& one) { return one.rpm == point; })) continue;
    double low = point, high = point;
    for (const auto& run : job.runs)
      for (const auto& reading : run.readings)
        if (reading.speed == s) low = std::min(low, reading.rpm), high = std::max(high, reading.rpm);
    const auto rounded = round_speed(job.rotor, low, high);
    const bool rises = rounded && (s == 0 || job.speeds_rpm[s - 1] < *rounded) &&
                       (s + 1 == job.speeds_rpm.size() || *rounded < job.speeds_rpm[s + 1]);
    if (rises) point = *rounded;
  }
}

/// The band that holds at a place; null where neither the point nor a reading of it lies in any.
const LimitBand* band_of(const Sensor& sensor, double point_rpm, double reading_rpm) {
  const LimitBand* band = sensor.band_at(point_rpm);
  return band != nullptr ? band : sensor.band_at(reading_rpm);
}

Result<void> add_place(Job& job, std::size_t speed, std::size_t sensor, double rpm, const Location& where) {
  const auto key = std::pair(speed, sensor);
  const auto at = std::lower_bound(
      job.places.begin(), job.places.end(), key,
      [](const Place& one, const auto& wanted) { return std::pair(one.speed, one.sensor) < wanted; });
  if (at != job.places.end() && std::pair(at->speed, at->sensor) == key) return {};
  const LimitBand* band = band_of(job.rotor.sensors[sensor], job.speeds_rpm[speed], rpm);
  if (band == nullptr) {
    Location at_speed = where;
    at_speed.key += at_speed.key.empty() ? "speed" : ".speed";
    return fail(fmt::format("sensor \"{}\" has no limit at {:.0f} rpm", job.rotor.sensors[sensor].name, rpm),
                "a speed inside the limits of the rotor file, or one more band there", at_speed);
  }
  job.places.insert(at, {speed, sensor, band->limit, band->target});
  return {};
}

/// The first speed point that a reading not obtained would have belonged to, whatever its approach and state.
std::optional<std::size_t> speed_of_missing(const Job& job, const MissingReading& missing) {
  for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s)
    if (same_speed(job.rotor, job.speeds_rpm[s], missing.rpm)) return s;
  return std::nullopt;
}

/// The speed point that a reading not obtained would have belonged to.
std::optional<std::size_t> point_of_missing(const Job& job, const MissingReading& missing) {
  const auto first = speed_of_missing(job, missing);
  if (!first) return first;
  for (std::size_t s = *first; s < job.speeds_rpm.size() && job.speeds_rpm[s] == job.speeds_rpm[*first]; ++s)
    if (state_at(job, s) == missing.state) return s;
  return std::nullopt;
}

/// States that differ by nothing a person sees are written alike.
void spell_states_alike(Job& job) {
  std::vector<std::string> names;
  const auto spell = [&names](std::string& name) {
    const auto same = std::find_if(names.begin(), names.end(),
                                   [&](const std::string& other) { return alike(other, name); });
    if (same == names.end())
      names.push_back(name);
    else
      name = *same;
  };
  for (auto& run : job.runs) {
    for (auto& reading : run.readings) spell(reading.state.name);
    for (auto& missing : run.missing) spell(missing.state.name);
  }
}

/// A point for each approach and state of the readings at a speed.
void part_by_state(Job& job) {
  spell_states_alike(job);
  std::set<std::pair<std::size_t, ReadingState>> points;
  for (const auto& run : job.runs) {
    for (const auto& reading : run.readings) points.emplace(reading.speed, reading.state);
    for (const auto& missing : run.missing)
      if (const auto speed = speed_of_missing(job, missing)) points.emplace(*speed, missing.state);
  }
  for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s)
    if (std::none_of(points.begin(), points.end(), [s](const auto& one) { return one.first == s; }))
      points.emplace(s, ReadingState{});
  const std::vector<double> speeds = job.speeds_rpm;
  job.speeds_rpm.clear();
  job.speed_states.clear();
  for (const auto& [speed, state] : points) {
    if (state != ReadingState{}) job.speed_states[job.speeds_rpm.size()] = state;
    job.speeds_rpm.push_back(speeds[speed]);
  }
  for (auto& run : job.runs)
    for (auto& reading : run.readings)
      reading.speed = static_cast<std::size_t>(
          std::distance(points.begin(), points.find({reading.speed, reading.state})));
}

}  // namespace

Result<void> settle_places(Job& job, const std::vector<SetSpeed>& set) {
  const auto points = speed_points(job, set);
  if (!points) return tl::unexpected(points.error());
  job.speeds_rpm.assign(points->begin(), points->end());
  for (auto& run : job.runs)
    for (auto& reading : run.readings) {
      const auto point = point_near(job.rotor, *points, reading.rpm, reading.where);
      if (!point) return tl::unexpected(point.error());
      reading.speed = static_cast<std::size_t>(std::distance(points->begin(), *point));
    }
  round_points(job, set);
  part_by_state(job);
  job.speed_names.clear();
  for (const auto& speed : set)
    for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s)
      if (job.speeds_rpm[s] == speed.rpm && !speed.name.empty()) job.speed_names[s] = speed.name;
  job.places.clear();
  for (const auto& run : job.runs)
    for (const auto& reading : run.readings)
      if (auto added = add_place(job, reading.speed, reading.sensor, reading.rpm, reading.where); !added)
        return added;
  for (const auto& run : job.runs)
    for (const auto& missing : run.missing)
      if (const auto speed = point_of_missing(job, missing))
        if (auto added = add_place(job, *speed, missing.sensor, missing.rpm, missing.where); !added)
          return added;
  return {};
}

const Place& place_of(const Job& job, std::size_t speed, std::size_t sensor) {
  for (const auto& place : job.places)
    if (place.speed == speed && place.sensor == sensor) return place;
  throw std::logic_error("the job's places were not settled before its readings were used");
}

std::vector<PlaceToRead> readings_to_make(const Job& job) {
  std::set<std::tuple<std::size_t, std::size_t, Component>> wanted;
  for (const auto& run : job.runs) {
    if (run.set_aside) continue;
    for (const auto& reading : run.readings) wanted.emplace(reading.speed, reading.sensor, reading.component);
    for (const auto& missing : run.missing)
      if (const auto speed = point_of_missing(job, missing))
        wanted.emplace(*speed, missing.sensor, Component::once_per_rev);
  }
  std::vector<PlaceToRead> readings;
  for (const auto& [speed, sensor, component] : wanted) readings.push_back({speed, sensor, component});
  return readings;
}

std::vector<Place> places_to_run(const Job& job) {
  std::vector<Place> places;
  for (const auto& one : readings_to_make(job))
    if (places.empty() || places.back().speed != one.speed || places.back().sensor != one.sensor)
      places.push_back(place_of(job, one.speed, one.sensor));
  return places;
}

ReadingState state_at(const Job& job, std::size_t speed) {
  const auto state = job.speed_states.find(speed);
  return state == job.speed_states.end() ? ReadingState{} : state->second;
}

std::string state_words(const ReadingState& state) {
  std::string words = state.approach == Approach::up     ? "on the way up"
                      : state.approach == Approach::down ? "on the way down"
                                                         : "";
  if (!state.name.empty()) words += (words.empty() ? "" : ", ") + state.name;
  return words;
}

std::string speed_words(const Job& job, std::size_t speed) {
  std::string words = speed_words(job.rotor, job.speeds_rpm[speed]);
  if (const auto name = job.speed_names.find(speed); name != job.speed_names.end())
    words = name->second + ", " + words;
  const std::string state = state_words(state_at(job, speed));
  return state.empty() ? words : words + ", " + state;
}

std::string short_speed_words(const Job& job, std::size_t speed) {
  const auto name = job.speed_names.find(speed);
  std::string words =
      name != job.speed_names.end() ? name->second : short_speed_words(job.rotor, job.speeds_rpm[speed]);
  const ReadingState state = state_at(job, speed);
  if (state.approach != Approach::unsaid) words += state.approach == Approach::up ? ", up" : ", down";
  return state.name.empty() ? words : words + ", " + state.name;
}

std::string_view name(Component component) {
  return component == Component::overall ? "overall" : "once-per-rev";
}

std::string place_words(const Job& job, std::size_t speed, std::size_t sensor) {
  return job.rotor.sensors[sensor].name + " at " + speed_words(job, speed);
}

}  // namespace trimwright

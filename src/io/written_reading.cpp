#include "written_reading.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>

#include "trade_values.hpp"
#include "trimwright/base/angle.hpp"
#include "trimwright/base/text.hpp"
#include "yaml_fields.hpp"

namespace trimwright {
namespace {

[[noreturn]] void reject(const WrittenReading& written, const std::string& part, const Error& error) {
  Location where = written.where;
  where.key += where.key.empty() ? part : "." + part;
  throw InputError{{error.what, error.expected, where}};
}

[[noreturn]] void reject(const WrittenReading& written, const std::string& part, std::string what,
                         std::string expected) {
  reject(written, part, Error{std::move(what), std::move(expected), {}});
}

std::string sensor_names(const Rotor& rotor) {
  std::string names;
  for (const auto& sensor : rotor.sensors) names += (names.empty() ? "" : " or ") + sensor.name;
  return names;
}

std::string convention_name(PhaseConvention convention) {
  return convention == PhaseConvention::lag    ? "lag"
         : convention == PhaseConvention::lead ? "lead"
                                               : "unknown";
}

/// Peak amplitude in the sensor's unit, converted at the reading's own speed where it measures something
/// else.
double peak_amplitude(const WrittenReading& written, const Sensor& sensor, Component component, double rpm) {
  const auto direct = parse_reading_amplitude(written.amplitude, sensor.unit);
  if (direct) return *direct;
  const auto quantity = parse_quantity(written.amplitude);
  if (!quantity || quantity->value < 0.0) reject(written, "amplitude", direct.error());
  const auto unit = parse_vibration_unit(quantity->unit);
  if (!unit || sensor.unit.quantity == MotionQuantity::as_shown) reject(written, "amplitude", direct.error());
  if (component == Component::overall)
    reject(written, "amplitude",
           "an overall level in \"" + unit->text() + "\" cannot become \"" + sensor.unit.text() + "\"",
           "the sensor's own quantity: only a once-per-rev reading converts");
  const auto peak = convert_peak(unit->peak_from_shown(quantity->value), *unit, sensor.unit, rpm);
  if (!peak) reject(written, "amplitude", peak.error());
  return *peak;
}

/// "145", "145 deg" or "145 deg lag", the last only when it says what the rotor says.
double phase_deg(const WrittenReading& written, const Rotor& rotor) {
  const std::string expected = "degrees from -360 to 360, such as \"145 deg\", in the rotor's convention (" +
                               convention_name(rotor.phase) + ")";
  const auto quantity = parse_quantity(written.phase);
  if (!quantity) reject(written, "phase", quantity.error().what, expected);
  const std::string& unit = quantity->unit;
  if (unit == "deg lag" || unit == "deg lead") {
    if (unit != "deg " + convention_name(rotor.phase))
      reject(written, "phase", "\"" + shortened(written.phase) + "\" contradicts the rotor file", expected);
  } else if (unit != "deg" && unit != "°") {
    reject(written, "phase", "\"" + shortened(written.phase) + "\" is not an angle in degrees", expected);
  }
  if (std::abs(quantity->value) > 360.0)
    reject(written, "phase", "\"" + shortened(written.phase) + "\" is out of range", expected);
  return quantity->value;
}

std::optional<MotionQuantity> phase_quantity(const WrittenReading& written, const Sensor& sensor) {
  if (written.phase_of.empty()) return sensor.phase_of;
  if (sensor.unit.quantity == MotionQuantity::as_shown)
    reject(written, "phase_of", "a display unit has no phase_of", "nothing here");
  for (const auto quantity :
       {MotionQuantity::displacement, MotionQuantity::velocity, MotionQuantity::acceleration})
    if (written.phase_of == name(quantity)) return quantity;
  reject(written, "phase_of", "\"" + shortened(written.phase_of) + "\" is not known here",
         "displacement, velocity or acceleration");
}

Component component_of(const WrittenReading& written) {
  const std::string component = lower_case(written.component);
  if (component == "once-per-rev") return Component::once_per_rev;
  if (component == "overall") return Component::overall;
  const std::string expected = "once-per-rev (filtered) or overall";
  if (written.component.empty())
    reject(written, "component", "the reading does not say what it contains", expected);
  reject(written, "component", "\"" + shortened(written.component) + "\" is not known here", expected);
}

/// One standard deviation per real component, peak in the sensor's unit; stated for this reading alone.
std::optional<double> stated_sd(const WrittenReading& written, const Sensor& sensor) {
  if (written.sd.empty()) return std::nullopt;
  const auto sd = parse_peak_amplitude(written.sd, sensor.unit);
  if (!sd) reject(written, "sd", sd.error());
  if (!(*sd > 0.0)) reject(written, "sd", "no reading repeats exactly", "an amplitude above zero");
  return *sd;
}

}  // namespace

Reading to_reading(const WrittenReading& written, const Rotor& rotor) {
  Reading reading;
  reading.where = written.where;
  reading.note = shortened(written.note, 300);
  const auto sensor_index = rotor.sensor_named(written.sensor);
  if (!sensor_index)
    reject(written, "sensor", "the rotor has no sensor \"" + shortened(written.sensor) + "\"",
           sensor_names(rotor));
  reading.sensor = *sensor_index;
  const Sensor& sensor = rotor.sensors[reading.sensor];

  const auto rpm = parse_speed(written.speed, rotor);
  if (!rpm) reject(written, "speed", rpm.error());
  reading.rpm = *rpm;
  if (sensor.band_at(reading.rpm) == nullptr)
    reject(written, "speed",
           fmt::format("sensor \"{}\" has no limit at {:.0f} rpm", sensor.name, reading.rpm),
           "a speed inside the limits of the rotor file, or one more band there");

  reading.component = component_of(written);
  const auto quantity = phase_quantity(written, sensor);
  reading.repeatability = stated_sd(written, sensor);
  if (written.missing) return reading;
  reading.amplitude = peak_amplitude(written, sensor, reading.component, reading.rpm);
  if (written.phase.empty()) return reading;
  if (reading.component == Component::overall)
    reject(written, "phase", "an overall level has no phase",
           "no phase, or component once-per-rev if it was filtered");
  const double lead = quantity ? phase_lead_deg(*quantity, sensor.unit.quantity) : 0.0;
  reading.phase_factor = (sensor.positive_inward ? -1.0 : 1.0) * std::polar(1.0, radians(lead));
  const auto convention = rotor.phase == PhaseConvention::lead ? PhaseConvention::lead : PhaseConvention::lag;
  reading.x =
      phasor_from_shown(reading.amplitude, phase_deg(written, rotor), convention) * reading.phase_factor;
  return reading;
}

namespace {

/// Speed points of a job; a thousand readings make a few dozen.
constexpr std::size_t most_speed_points = 500;

/// The point within `tolerance` of `rpm`, or the end. Throws where there are two.
std::set<double>::const_iterator point_near(const std::set<double>& points, const Reading& reading,
                                            double tolerance) {
  const auto first = points.lower_bound(reading.rpm - tolerance);
  if (first == points.end() || *first > reading.rpm + tolerance) return points.end();
  const auto next = std::next(first);
  if (next != points.end() && *next <= reading.rpm + tolerance)
    throw InputError{
        {fmt::format("{:.1f} rpm lies within the tolerance ({:.1f} rpm) of two speed points", reading.rpm,
                     tolerance),
         "speeds that are clearly one point or clearly two; see speed_tolerance in the rotor file",
         reading.where}};
  return first;
}

}  // namespace

void assign_speed_points(Job& job) {
  const double tolerance = job.rotor.speed_tolerance_rpm * (1.0 + 1e-9);
  std::set<double> points;
  for (const auto& run : job.runs)
    for (const auto& reading : run.readings) {
      if (point_near(points, reading, tolerance) == points.end()) points.insert(reading.rpm);
      if (points.size() > most_speed_points)
        throw InputError{
            {"the readings are at too many different speeds", "at most 500 speed points", reading.where}};
    }
  job.speeds_rpm.assign(points.begin(), points.end());
  for (auto& run : job.runs)
    for (auto& reading : run.readings) {
      const double point = *point_near(points, reading, tolerance);
      reading.speed = static_cast<std::size_t>(
          std::lower_bound(job.speeds_rpm.begin(), job.speeds_rpm.end(), point) - job.speeds_rpm.begin());
    }
}

}  // namespace trimwright

#include "written_reading.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "trade_values.hpp"
#include "trimwright/base/angle.hpp"
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
  const auto direct = parse_peak_amplitude(written.amplitude, sensor.unit);
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
      reject(written, "phase", "\"" + written.phase + "\" contradicts the rotor file", expected);
  } else if (unit != "deg" && unit != "°") {
    reject(written, "phase", "\"" + written.phase + "\" is not an angle in degrees", expected);
  }
  if (std::abs(quantity->value) > 360.0)
    reject(written, "phase", "\"" + written.phase + "\" is out of range", expected);
  return quantity->value;
}

std::optional<MotionQuantity> phase_quantity(const WrittenReading& written, const Sensor& sensor) {
  if (written.phase_of.empty()) return sensor.phase_of;
  if (sensor.unit.quantity == MotionQuantity::as_shown)
    reject(written, "phase_of", "a display unit has no phase_of", "nothing here");
  for (const auto quantity :
       {MotionQuantity::displacement, MotionQuantity::velocity, MotionQuantity::acceleration})
    if (written.phase_of == name(quantity)) return quantity;
  reject(written, "phase_of", "\"" + written.phase_of + "\" is not known here",
         "displacement, velocity or acceleration");
}

Component component_of(const WrittenReading& written) {
  if (written.component == "once-per-rev") return Component::once_per_rev;
  if (written.component == "overall") return Component::overall;
  const std::string expected = "once-per-rev (filtered) or overall";
  if (written.component.empty())
    reject(written, "component", "the reading does not say what it contains", expected);
  reject(written, "component", "\"" + written.component + "\" is not known here", expected);
}

}  // namespace

Reading to_reading(const WrittenReading& written, const Rotor& rotor) {
  Reading reading;
  reading.where = written.where;
  const auto sensor_index = rotor.sensor_named(written.sensor);
  if (!sensor_index)
    reject(written, "sensor", "the rotor has no sensor \"" + written.sensor + "\"", sensor_names(rotor));
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
  reading.amplitude = peak_amplitude(written, sensor, reading.component, reading.rpm);
  if (written.phase.empty()) return reading;
  if (reading.component == Component::overall)
    reject(written, "phase", "an overall level has no phase",
           "no phase, or component once-per-rev if it was filtered");
  const auto quantity = phase_quantity(written, sensor);
  const double lead = quantity ? phase_lead_deg(*quantity, sensor.unit.quantity) : 0.0;
  reading.phase_factor = (sensor.positive_inward ? -1.0 : 1.0) * std::polar(1.0, radians(lead));
  const auto convention = rotor.phase == PhaseConvention::lead ? PhaseConvention::lead : PhaseConvention::lag;
  reading.x =
      phasor_from_shown(reading.amplitude, phase_deg(written, rotor), convention) * reading.phase_factor;
  return reading;
}

void assign_speed_points(Job& job) {
  const double tolerance = job.rotor.speed_tolerance_rpm * (1.0 + 1e-9);
  std::vector<double> points;
  for (auto& run : job.runs)
    for (auto& reading : run.readings) {
      const auto near = [&](double point) { return std::abs(point - reading.rpm) <= tolerance; };
      const auto close = std::count_if(points.begin(), points.end(), near);
      if (close > 1)
        throw InputError{
            {fmt::format("{:.1f} rpm lies within the tolerance ({:.1f} rpm) of two speed points", reading.rpm,
                         job.rotor.speed_tolerance_rpm),
             "speeds that are clearly one point or clearly two; see speed_tolerance in the rotor file",
             reading.where}};
      if (close == 0) points.push_back(reading.rpm);
    }
  std::sort(points.begin(), points.end());
  for (auto& run : job.runs)
    for (auto& reading : run.readings) {
      const auto nearest = std::min_element(points.begin(), points.end(), [&](double a, double b) {
        return std::abs(a - reading.rpm) < std::abs(b - reading.rpm);
      });
      reading.speed = static_cast<std::size_t>(nearest - points.begin());
    }
  job.speeds_rpm = points;
}

}  // namespace trimwright

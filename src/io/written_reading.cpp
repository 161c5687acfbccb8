#include "written_reading.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/name.hpp"
#include "base/text.hpp"
#include "fitted_fields.hpp"
#include "trade_values.hpp"
#include "trimwright/phasor.hpp"
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

/// The unit of a phase as it is compared: "", "deg", "deg lag" or "deg lead" for any usual way to write it.
std::string phase_unit(std::string_view written) {
  std::string unit = lower_case(written);
  for (const std::string_view degrees : {"degrees", "degree", "deg.", "°"})
    if (unit.starts_with(degrees)) unit = "deg" + unit.substr(degrees.size());
  return unit.empty() ? "deg" : unit;
}

/// "145", "145 deg" or "145 deg lag", the last only when it says what the rotor says.
double phase_deg(const WrittenReading& written, const Rotor& rotor) {
  const std::string expected = "degrees from -360 to 360, such as \"145 deg\", in the rotor's convention (" +
                               convention_name(rotor.phase) + ")";
  const auto quantity = parse_quantity(written.phase);
  if (!quantity) reject(written, "phase", quantity.error().what, expected);
  const std::string unit = phase_unit(quantity->unit);
  if (unit == "deg lag" || unit == "deg lead") {
    if (unit != "deg " + convention_name(rotor.phase))
      reject(written, "phase", "\"" + shortened(written.phase) + "\" contradicts the rotor file", expected);
  } else if (unit != "deg") {
    reject(written, "phase", "\"" + shortened(written.phase) + "\" is not an angle in degrees", expected);
  }
  if (std::abs(quantity->value) > 360.0)
    reject(written, "phase", "\"" + shortened(written.phase) + "\" is out of range", expected);
  return quantity->value;
}

/// The sensor says what its phases belong to when they are read in its own quantity; in another one both are
/// likely, and they are 90 degrees apart.
std::optional<MotionQuantity> phase_quantity(const WrittenReading& written, const Sensor& sensor) {
  if (written.phase_of.empty()) {
    const auto amplitude = parse_quantity(written.amplitude);
    const auto unit = parse_vibration_unit(amplitude ? amplitude->unit : std::string{});
    if (unit && sensor.phase_of && !written.phase.empty() && unit->quantity != sensor.unit.quantity)
      reject(written, "phase_of",
             "\"" + shortened(written.amplitude) + "\" is a " + std::string(name(unit->quantity)) +
                 ", sensor \"" + sensor.name + "\" measures " + std::string(name(sensor.unit.quantity)) +
                 ", and the reading does not say which of them its phase belongs to",
             "phase_of: " + std::string(name(unit->quantity)) +
                 ", or phase_of: " + std::string(name(sensor.unit.quantity)));
    return sensor.phase_of;
  }
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
  if (component.empty() && (written.missing || !written.phase.empty()))  // only that has a phase
    return Component::once_per_rev;
  for (const auto one : {Component::once_per_rev, Component::overall})
    if (component == name(one)) return one;
  const std::string expected = "once-per-rev (filtered) or overall";
  if (written.component.empty())
    reject(written, "component", "the reading has no phase and does not say what it contains", expected);
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

ReadingState state_of(const WrittenReading& written) {
  ReadingState state;
  const std::string approach = lower_case(written.approach);
  if (approach == "up" || approach == "down")
    state.approach = approach == "up" ? Approach::up : Approach::down;
  else if (!approach.empty())
    reject(written, "approach", "\"" + shortened(written.approach) + "\" is not known here",
           "up (from a lower speed) or down");
  if (written.state.empty()) return state;
  const auto name = parse_name(written.state);
  if (!name) reject(written, "state", name.error());
  state.name = *name;
  return state;
}

}  // namespace

bool not_obtained(const std::string& amplitude) {
  return amplitude.empty() || lower_case(amplitude) == "missing";
}

Reading to_reading(const WrittenReading& written, const Rotor& rotor) {
  Reading reading;
  reading.where = written.where;
  reading.note = shortened(written.note, 300);
  const auto sensor_index = rotor.sensor_named(written.sensor);
  if (!sensor_index)
    reject(written, "sensor", "the rotor has no sensor \"" + shortened(written.sensor) + "\"",
           alternatives(rotor.sensors));
  reading.sensor = *sensor_index;
  const Sensor& sensor = rotor.sensors[reading.sensor];

  const auto rpm = parse_speed(written.speed, rotor);
  if (!rpm) reject(written, "speed", rpm.error());
  reading.rpm = *rpm;
  reading.component = component_of(written);
  reading.state = state_of(written);
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

}  // namespace trimwright

#include "trimwright/rotor/sensor.hpp"

#include <algorithm>

#include "trimwright/base/angle.hpp"

namespace trimwright {

const LimitBand* Sensor::band_at(double rpm) const {
  const auto found =
      std::find_if(bands.begin(), bands.end(), [rpm](const LimitBand& b) { return rpm <= b.up_to_rpm; });
  return found == bands.end() ? nullptr : &*found;
}

Phasor Sensor::phase_factor() const {
  const double lead = phase_of ? phase_lead_deg(*phase_of, unit.quantity) : 0.0;
  return (positive_inward ? -1.0 : 1.0) * std::polar(1.0, radians(lead));
}

ShownReading shown(const Sensor& sensor, Phasor x, PhaseConvention convention) {
  return {sensor.unit.shown_from_peak(std::abs(x)), shown_phase_deg(x / sensor.phase_factor(), convention)};
}

Phasor from_shown(const Sensor& sensor, ShownReading reading, PhaseConvention convention) {
  const double peak = sensor.unit.peak_from_shown(reading.amplitude);
  return phasor_from_shown(peak, reading.phase_deg, convention) * sensor.phase_factor();
}

}  // namespace trimwright

#include "trimwright/rotor.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "trimwright/phasor.hpp"

namespace trimwright {

Result<void> check_target(const LimitBand& band) {
  if (!band.target) return {};
  if (!(*band.target > 0.0)) return fail("the target is zero", "a target above zero");
  if (*band.target > band.limit) return fail("the target is above the limit", "a target not above the limit");
  return {};
}

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

std::string amplitude_words(double shown) {
  if (shown == 0.0) return "0";
  if (std::isinf(shown)) return "not given";  // a limit still to be told
  const int whole_digits = static_cast<int>(std::floor(std::log10(std::abs(shown)))) + 1;
  return fmt::format("{:.{}f}", shown, std::clamp(3 - whole_digits, 0, 4));
}

std::string reading_words(const ShownReading& reading) {
  if (std::isnan(reading.phase_deg)) return amplitude_words(reading.amplitude);
  return amplitude_words(reading.amplitude) + " ∠ " + angle_words(reading.phase_deg, 0);
}

std::string phasor_words(const Sensor& sensor, Phasor x, PhaseConvention convention) {
  return reading_words(shown(sensor, x, convention));
}

Phasor from_shown(const Sensor& sensor, ShownReading reading, PhaseConvention convention) {
  const double peak = sensor.unit.peak_from_shown(reading.amplitude);
  return phasor_from_shown(peak, reading.phase_deg, convention) * sensor.phase_factor();
}

}  // namespace trimwright

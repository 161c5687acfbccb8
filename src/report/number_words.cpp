#include "number_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace trimwright {

std::string amplitude_words(double shown) {
  if (shown == 0.0) return "0";
  const int whole_digits = static_cast<int>(std::floor(std::log10(std::abs(shown)))) + 1;
  return fmt::format("{:.{}f}", shown, std::clamp(3 - whole_digits, 0, 4));
}

std::string phasor_words(const Sensor& sensor, Phasor x, PhaseConvention convention) {
  const auto seen = shown(sensor, x, convention);
  if (std::isnan(seen.phase_deg)) return amplitude_words(seen.amplitude);
  return fmt::format("{} ∠ {:3.0f}°", amplitude_words(seen.amplitude), wrap_360(std::round(seen.phase_deg)));
}

std::string speed_words(const Rotor& rotor, double rpm) {
  if (!rotor.speed_100_rpm) return fmt::format("{:.0f}", rpm);
  return fmt::format("{:.0f} ({:.1f} %)", rpm, 100.0 * rpm / *rotor.speed_100_rpm);
}

std::string odds_words(double log_odds) {
  const double size = std::abs(log_odds);
  return size > std::log(1e6) ? "more than a million" : fmt::format("{:.0f}", std::exp(size));
}

std::string convention_words(PhaseConvention convention) {
  return convention == PhaseConvention::lag    ? "lag"
         : convention == PhaseConvention::lead ? "lead"
                                               : "unknown";
}

std::string phase_sentence(PhaseConvention convention) {
  return convention == PhaseConvention::unknown ? "phases took no part."
                                                : "phase is " + convention_words(convention) + ".";
}

std::string zero_words(const Rotor& rotor) {
  return rotor.reference.mark.empty() ? "reference tooth" : rotor.reference.mark;
}

}  // namespace trimwright

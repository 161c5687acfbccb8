#include "tooth_ring.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "equations.hpp"
#include "possible.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright::virtual_rotor {

namespace {

/// Greatest value of cos^3(pi u) sin(pi u), at u = 1/6.
constexpr double steepest = 3.0 * std::numbers::sqrt3 / 16.0;
/// A false pulse is narrower than a tooth's, so that it never reaches a tooth's centre.
constexpr double extra_width = 0.3;

/// Rate of change of a cos^4 flux pulse over |u| < 1/2, with peaks +1 before and -1 after the centre.
double pulse_shape(double u) {
  if (std::abs(u) >= 0.5) return 0.0;
  const double c = std::cos(pi * u), s = std::sin(pi * u);
  return -c * c * c * s / steepest;
}

bool positive(double value) { return std::isfinite(value) && value > 0.0; }
bool a_part(double value) { return value >= 0.0 && value <= 1.0; }

Result<void> check_per_tooth(const ToothRing& ring) {
  const auto teeth = static_cast<std::size_t>(ring.teeth);
  if (!ring.height.empty() && ring.height.size() != teeth) {
    return wrong("ring.height", static_cast<double>(ring.height.size()), "one entry per tooth, or none");
  }
  for (const double height : ring.height) {
    if (!not_negative(height)) return wrong("ring.height", height, "zero or a number above it");
  }
  if (ring.spacing_error_deg.empty()) return {};
  if (ring.spacing_error_deg.size() != teeth) {
    return wrong("ring.spacing_error_deg", static_cast<double>(ring.spacing_error_deg.size()),
                 "one entry per tooth, or none");
  }
  if (ring.spacing_error_deg[0] != 0.0) {
    return wrong("ring.spacing_error_deg[0]", ring.spacing_error_deg[0],
                 "0: rotor angles start at that tooth");
  }
  for (const double error : ring.spacing_error_deg) {
    const bool good = std::abs(error) < 0.2 * 360.0 / ring.teeth;
    if (!good) return wrong("ring.spacing_error_deg", error, "less than a fifth of the pitch");
  }
  return {};
}

Result<void> check_ring(const ToothRing& ring) {
  if (ring.teeth < 1 || ring.teeth > 1000) return wrong("ring.teeth", ring.teeth, "1 to 1000");
  if (!positive(ring.radius_mm)) return wrong("ring.radius_mm", ring.radius_mm, "a number above zero");
  if (!positive(ring.larger_tooth))
    return wrong("ring.larger_tooth", ring.larger_tooth, "a number above zero");
  if (!positive(ring.pulse_width) || ring.pulse_width > 1.0) {
    return wrong("ring.pulse_width", ring.pulse_width, "above 0, up to 1");
  }
  if (!not_negative(ring.runout_mm))
    return wrong("ring.runout_mm", ring.runout_mm, "zero or a number above it");
  if (!std::isfinite(ring.runout_deg)) return wrong("ring.runout_deg", ring.runout_deg, "a finite number");
  return check_per_tooth(ring);
}

Result<void> check_debris(const Debris& debris) {
  if (!a_part(debris.missing)) return wrong("debris.missing", debris.missing, "0 to 1");
  if (!a_part(debris.altered)) return wrong("debris.altered", debris.altered, "0 to 1");
  if (!a_part(debris.extra)) return wrong("debris.extra", debris.extra, "0 to 1");
  if (!not_negative(debris.altered_least)) {
    return wrong("debris.altered_least", debris.altered_least, "zero or a number above it");
  }
  if (!std::isfinite(debris.altered_most) || debris.altered_most < debris.altered_least) {
    return wrong("debris.altered_most", debris.altered_most, "at least altered_least");
  }
  return {};
}

Result<void> check_element(const SensingElement& element, const ToothRing& ring) {
  if (!not_negative(element.gap_mm) || element.gap_mm < ring.runout_mm) {
    return wrong("element.gap_mm", element.gap_mm, "at least the ring's runout");
  }
  if (!not_negative(element.nominal_gap_mm)) {
    return wrong("element.nominal_gap_mm", element.nominal_gap_mm, "zero or a number above it");
  }
  if (!not_negative(element.volts_at_full_speed)) {
    return wrong("element.volts_at_full_speed", element.volts_at_full_speed, "zero or a number above it");
  }
  if (!not_negative(element.noise_rms)) {
    return wrong("element.noise_rms", element.noise_rms, "zero or a number above it");
  }
  for (const double value : {element.position_deg, element.baseline_volts, element.baseline_hz}) {
    if (!std::isfinite(value)) return wrong("element", value, "finite position and baseline");
  }
  return check_debris(element.debris);
}

/// The draws belonging to pulse `k`; pulses before the first are numbered too.
enum class Fate : std::uint64_t { lost, changed, factor, extra, place, extra_height };
std::uint64_t draw_index(std::int64_t k, Fate fate) {
  return static_cast<std::uint64_t>(k) * 8U + static_cast<std::uint64_t>(fate);
}

}  // namespace

Result<ToothSignal> ToothSignal::of(const ToothRing& ring, const SensingElement& element,
                                    double full_speed_rpm, std::uint64_t seed, std::uint64_t stream) {
  if (!positive(full_speed_rpm)) return wrong("full_speed_rpm", full_speed_rpm, "a number above zero");
  if (auto checked = check_ring(ring); !checked) return tl::unexpected<Error>(checked.error());
  if (auto checked = check_element(element, ring); !checked) return tl::unexpected<Error>(checked.error());
  return ToothSignal(ring, element, rad_per_s(full_speed_rpm), Draws(seed, stream));
}

ToothSignal::ToothSignal(ToothRing ring, SensingElement element, double full_speed, Draws draws)
    : ring_(std::move(ring)),
      element_(std::move(element)),
      draws_(draws),
      pitch_(2.0 * pi / ring_.teeth),
      volts_per_speed_(element_.volts_at_full_speed / full_speed *
                       (element_.polarity == ZeroCrossing::falling ? 1.0 : -1.0)),
      decay_per_mm_(ring_.teeth / (ring_.radius_mm * ring_.pulse_width)) {}

std::size_t ToothSignal::tooth_of(std::int64_t k) const {
  const std::int64_t tooth = k % ring_.teeth;
  return static_cast<std::size_t>(tooth < 0 ? tooth + ring_.teeth : tooth);
}

double ToothSignal::pulse_angle(std::int64_t k) const {
  const double error = ring_.spacing_error_deg.empty() ? 0.0 : ring_.spacing_error_deg[tooth_of(k)];
  return static_cast<double>(k) * pitch_ + radians(error + element_.position_deg);
}

bool ToothSignal::missing(std::int64_t k) const {
  return element_.debris.missing > 0.0 && draws_.uniform(draw_index(k, Fate::lost)) < element_.debris.missing;
}

double ToothSignal::pulse_height(std::int64_t k) const {
  if (missing(k)) return 0.0;
  const std::size_t tooth = tooth_of(k);
  double height = tooth == 0 ? ring_.larger_tooth : 1.0;
  if (!ring_.height.empty()) height *= ring_.height[tooth];
  const double gap = element_.gap_mm + ring_.runout_mm * std::cos(pulse_angle(k) - radians(ring_.runout_deg));
  height *= std::exp(-decay_per_mm_ * (gap - element_.nominal_gap_mm));
  const Debris& debris = element_.debris;
  if (debris.altered > 0.0 && draws_.uniform(draw_index(k, Fate::changed)) < debris.altered) {
    const double part = draws_.uniform(draw_index(k, Fate::factor));
    height *= debris.altered_least + part * (debris.altered_most - debris.altered_least);
  }
  return height;
}

double ToothSignal::pulse(std::int64_t k, double angle) const {
  const double shape = pulse_shape((angle - pulse_angle(k)) / (ring_.pulse_width * pitch_));
  return shape == 0.0 ? 0.0 : shape * pulse_height(k);
}

double ToothSignal::extra_pulse(std::int64_t after, double angle) const {
  if (element_.debris.extra <= 0.0) return 0.0;
  if (draws_.uniform(draw_index(after, Fate::extra)) >= element_.debris.extra) return 0.0;
  const double place = 0.5 + 0.1 * (draws_.uniform(draw_index(after, Fate::place)) - 0.5);
  const double between = pulse_angle(after) + place * (pulse_angle(after + 1) - pulse_angle(after));
  const double height = 0.5 + draws_.uniform(draw_index(after, Fate::extra_height));
  return height * pulse_shape((angle - between) / (extra_width * ring_.pulse_width * pitch_));
}

double ToothSignal::volts(const ShaftState& shaft) const {
  const auto nearest =
      static_cast<std::int64_t>(std::llround((shaft.angle - radians(element_.position_deg)) / pitch_));
  double sum = 0.0;
  for (std::int64_t k = nearest - 1; k <= nearest + 1; ++k) sum += pulse(k, shaft.angle);
  for (std::int64_t k = nearest - 1; k <= nearest; ++k) sum += extra_pulse(k, shaft.angle);
  return volts_per_speed_ * shaft.speed * sum;
}

}  // namespace trimwright::virtual_rotor

#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "draws.hpp"
#include "speed_profile.hpp"
#include "trimwright/error.hpp"

namespace trimwright::virtual_rotor {

/// A ring of teeth on the shaft. Teeth are numbered in the order they pass the pickup; tooth 0 is the
/// reference tooth, whose centre is rotor angle zero.
struct ToothRing {
  int teeth = 44;
  double radius_mm = 60.0;
  double larger_tooth = 1.35;  ///< pulse height of tooth 0 against the others
  double pulse_width = 1.0;    ///< of a pulse from its first to its last sign, in tooth pitches: (0, 1]
  std::vector<double> spacing_error_deg;  ///< per tooth, later is positive, tooth 0 exactly 0; empty: none
  std::vector<double> height;             ///< per tooth, a factor beside larger_tooth; empty: all 1
  double runout_mm = 0.0;                 ///< the gap varies by +-this once per revolution
  double runout_deg = 0.0;                ///< shaft angle of the widest gap
};

/// What debris on the magnetic tip does to pulses, each at random.
struct Debris {
  double missing = 0.0;        ///< part of the pulses that is lost
  double altered = 0.0;        ///< part of the pulses whose height is changed
  double altered_least = 0.3;  ///< the factor is uniform between these two
  double altered_most = 1.7;
  double extra = 0.0;  ///< part of the gaps between teeth that shows a false pulse
};

/// Slope of the signal as a tooth's centre passes.
enum class ZeroCrossing { rising, falling };

/// One coil of the pickup.
struct SensingElement {
  std::string name;
  ZeroCrossing polarity = ZeroCrossing::falling;
  double gap_mm = 1.0;
  double nominal_gap_mm = 1.0;
  double volts_at_full_speed = 10.0;  ///< peak, of an ordinary tooth, at full speed and nominal gap
  double position_deg = 0.0;    ///< of the coil from the pickup's place, with rotation: teeth come later
  double noise_rms = 0.0;       ///< white [V]
  double baseline_volts = 0.0;  ///< slow wander of the zero line: baseline_volts sin(2 pi baseline_hz t)
  double baseline_hz = 0.5;
  Debris debris;
};

/// The pulses of one element.
///
/// Induced voltage is the rate of change of flux, so its height is proportional to speed. Each tooth adds
/// flux cos^4 over its own width, hence the signal is exactly zero at the tooth's centre whatever its
/// neighbours' heights. A field of spatial period 2 pi r / n dies out with distance as exp(-n g / r)
/// (Laplace's equation); with narrower pulses sooner: n / (r pulse_width) is used. Runout and debris act on
/// whole pulses, so no crossing moves.
class ToothSignal {
 public:
  /// Fails for counts, sizes or parts that cannot be. `stream` keeps the elements' debris apart.
  [[nodiscard]] static Result<ToothSignal> of(const ToothRing& ring, const SensingElement& element,
                                              double full_speed_rpm, std::uint64_t seed,
                                              std::uint64_t stream);

  /// The clean voltage, without noise and baseline.
  [[nodiscard]] double volts(const ShaftState& shaft) const;

  /// Shaft angle [rad] at which the centre of pulse `k` (0: the reference tooth's first passage) is at the
  /// coil.
  [[nodiscard]] double pulse_angle(std::int64_t k) const;
  /// Whether debris hid pulse `k`.
  [[nodiscard]] bool missing(std::int64_t k) const;

 private:
  ToothSignal(ToothRing ring, SensingElement element, double full_speed, Draws draws);

  [[nodiscard]] double pulse(std::int64_t k, double angle) const;
  [[nodiscard]] double extra_pulse(std::int64_t after, double angle) const;
  [[nodiscard]] double pulse_height(std::int64_t k) const;
  [[nodiscard]] std::size_t tooth_of(std::int64_t k) const;

  ToothRing ring_;
  SensingElement element_;
  Draws draws_;
  double pitch_, volts_per_speed_, decay_per_mm_;
};

}  // namespace trimwright::virtual_rotor

#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/unit.hpp"

namespace trimwright {

/// Limit and target up to a speed. Both are peak amplitudes in the sensor's unit symbol.
struct LimitBand {
  double up_to_rpm = 0.0;
  double limit = 0.0;            ///< must not be exceeded
  std::optional<double> target;  ///< what a trim aims at
};

/// A vibration sensor and how its readings are written.
///
/// Every amplitude the library keeps for it is a *peak* value in `unit.symbol`, whatever the detector.
struct Sensor {
  std::string name;
  VibrationUnit unit;
  /// The quantity the written phase belongs to; differs from `unit.quantity` where an instrument integrates
  /// the amplitude only. Empty for a display unit.
  std::optional<MotionQuantity> phase_of;
  bool positive_inward = false;         ///< a positive signal is motion toward the shaft: phase turned by 180
  std::string mounting;                 ///< where it sits, as a person would find it
  std::vector<LimitBand> bands;         ///< by rising speed
  std::optional<double> repeatability;  ///< one standard deviation per real component, peak
  std::optional<double> run_to_run;     ///< of what one run's readings share, per real component, peak
  double proportional = 0.0;            ///< share of the amplitude, one standard deviation per real component

  /// The band that holds at `rpm`; null above the last one.
  [[nodiscard]] const LimitBand* band_at(double rpm) const;

  /// Turns a phasor of the written phase into the library's: the phase of `unit.quantity`, positive outward.
  [[nodiscard]] Phasor phase_factor() const;
};

/// A reading as a person writes or sees it: amplitude with the sensor's detector, phase in [0, 360) degrees.
struct ShownReading {
  double amplitude = 0.0;
  double phase_deg = 0.0;
};

/// `x` as the sensor's own readings are written, in `convention` (lag or lead).
[[nodiscard]] ShownReading shown(const Sensor& sensor, Phasor x, PhaseConvention convention);

/// "0.312", with three significant digits but not more than four decimals.
[[nodiscard]] std::string amplitude_words(double shown);
/// "0.312 ∠ 145°"; the amplitude alone where the phase is not known (NaN).
[[nodiscard]] std::string reading_words(const ShownReading& reading);
/// `x` in the same words, as the sensor's readings are written.
[[nodiscard]] std::string phasor_words(const Sensor& sensor, Phasor x, PhaseConvention convention);

/// The inverse of `shown`.
[[nodiscard]] Phasor from_shown(const Sensor& sensor, ShownReading reading, PhaseConvention convention);

}  // namespace trimwright

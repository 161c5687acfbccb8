#pragma once

#include <complex>
#include <numbers>
#include <string>
#include <string_view>

#include "trimwright/error.hpp"

namespace trimwright {

/// Sense of an angle or of a numbering relative to the rotor's own rotation.
enum class Direction { with_rotation, against_rotation };

[[nodiscard]] constexpr Direction opposite(Direction d) {
  return d == Direction::with_rotation ? Direction::against_rotation : Direction::with_rotation;
}

[[nodiscard]] constexpr double radians(double degrees) { return degrees * std::numbers::pi / 180.0; }
[[nodiscard]] constexpr double degrees(double radians) { return radians * 180.0 / std::numbers::pi; }

/// `degrees` brought into [0, 360).
[[nodiscard]] double wrap_360(double degrees);
/// `degrees` brought into (-180, 180].
[[nodiscard]] double wrap_180(double degrees);
/// An angle or a phase as a person reads it, in [0, 360): a half is rounded up, whatever a file's decimals
/// made of it, and what rounds to a whole turn is 0.
[[nodiscard]] double rounded_angle(double degrees, int decimals);
/// "63.0°": the same in words; never "360.0°".
[[nodiscard]] std::string angle_words(double degrees, int decimals = 1);

/// An angle fixed to the rotor: zero at the reference tooth, positive in the direction of rotation.
///
/// A mass at angle `theta` passes any fixed point `theta` earlier than the reference tooth does. The only
/// way in from another sense is `from_degrees(value, Direction)`; inside the library there is no other angle.
class RotorAngle {
 public:
  constexpr RotorAngle() = default;

  [[nodiscard]] static RotorAngle from_degrees(double degrees, Direction sense = Direction::with_rotation);
  /// The direction of a moment vector; zero for a zero vector.
  [[nodiscard]] static RotorAngle of(std::complex<double> moment);

  [[nodiscard]] double degrees() const { return degrees_; }  ///< in [0, 360), with rotation
  [[nodiscard]] double radians() const { return trimwright::radians(degrees_); }
  [[nodiscard]] std::complex<double> direction() const { return std::polar(1.0, radians()); }

 private:
  double degrees_ = 0.0;
};

/// Vibration synchronous with the rotor: x(t) = Re(X e^{j Omega t}).
///
/// |X| is the *peak* amplitude, arg X the phase *lead*; time zero is the instant the reference tooth passes
/// the pickup. Lag, peak-to-peak and rms exist only at the edges (`phasor_from_shown`, `shown_phase_deg`).
using Phasor = std::complex<double>;

/// What a written phase means. `unknown` is settled from the runs, never guessed.
///
/// `lag`: degrees of rotation from the reference pulse to the next positive peak; lag = -arg X (mod 360).
/// `lead`: arg X.
enum class PhaseConvention { lag, lead, unknown };

/// The phasor of peak amplitude `peak` whose phase was written as `phase_deg` in `convention` (lag or lead).
[[nodiscard]] Phasor phasor_from_shown(double peak, double phase_deg, PhaseConvention convention);

/// The phase of `x` as people see it, in degrees in [0, 360), in `convention`; NaN for
/// `unknown`: only the amplitude is shown.
[[nodiscard]] double shown_phase_deg(Phasor x, PhaseConvention convention);

/// What a vibration amplitude measures. `as_shown` is a display unit that converts to nothing.
enum class MotionQuantity { displacement, velocity, acceleration, as_shown };

/// How a sine of peak amplitude A is stated: A (peak), 2 A (peak to peak), A/sqrt(2) (rms).
/// `as_shown` goes with the quantity of that name: the number is taken as it stands.
enum class Detector { peak, peak_to_peak, rms, as_shown };

/// The unit of a vibration amplitude with its detector, e.g. "in/s peak" or "mil pp".
///
/// Factors: exact inch (25.4 mm) and standard acceleration of free fall (9.80665 m/s^2), ISO 80000 and the
/// CIPM; detector factors for a sine from Harris' Shock and Vibration Handbook (tested in tests/published).
struct VibrationUnit {
  MotionQuantity quantity = MotionQuantity::as_shown;
  Detector detector = Detector::as_shown;
  double si_per_unit = 1.0;  ///< m, m/s or m/s^2 per unit; 1 for `as_shown`
  std::string symbol;        ///< without the detector, e.g. "in/s"

  /// Peak amplitude, in this unit's symbol, of a reading stated with this unit's detector.
  [[nodiscard]] double peak_from_shown(double shown) const;
  /// The inverse of `peak_from_shown`.
  [[nodiscard]] double shown_from_peak(double peak) const;
  /// "in/s peak"; just the symbol for a display unit.
  [[nodiscard]] std::string text() const;

  friend bool operator==(const VibrationUnit&, const VibrationUnit&) = default;
};

/// Reads "in/s peak", "mil pp", "mm/s rms", "g peak" ... Error: an unknown unit, or no detector.
/// A display unit is written between quotes of its own by the file reader and never comes here.
[[nodiscard]] Result<VibrationUnit> parse_vibration_unit(std::string_view text);

/// The unit called `symbol` that converts to nothing.
[[nodiscard]] VibrationUnit display_unit(std::string symbol);

/// Peak amplitude `peak` in `from`, restated as the peak amplitude in `to` for a sine at `rpm`.
/// Each derivative multiplies by Omega = 2 pi rpm / 60. Error: either unit is `as_shown` and they differ.
[[nodiscard]] Result<double> convert_peak(double peak, const VibrationUnit& from, const VibrationUnit& to,
                                          double rpm);

/// Phase lead, in degrees, that turns the phase of quantity `from` into that of `to`: +90 per derivative.
/// Both must be convertible quantities.
[[nodiscard]] double phase_lead_deg(MotionQuantity from, MotionQuantity to);

/// A number with the unit text that followed it, e.g. {4.2, "g"}; the unit may be empty.
struct Quantity {
  double value = 0.0;
  std::string unit;
};

/// Splits "4.2 g" into number and unit. Accepts only finite decimal numbers with a dot.
[[nodiscard]] Result<Quantity> parse_quantity(std::string_view text);

[[nodiscard]] Result<double> parse_mass_g(std::string_view text);     ///< g, kg, mg, oz, lb
[[nodiscard]] Result<double> parse_length_mm(std::string_view text);  ///< mm, cm, m, um, in, mil
[[nodiscard]] Result<double> parse_moment_g_mm(
    std::string_view text);                                           ///< g.mm, g.cm, kg.mm, g.m, oz.in, g.in
[[nodiscard]] Result<double> parse_angle_deg(std::string_view text);  ///< deg
[[nodiscard]] Result<double> parse_percent(std::string_view text);    ///< %, as a number of percent

[[nodiscard]] std::string_view name(MotionQuantity quantity);

}  // namespace trimwright

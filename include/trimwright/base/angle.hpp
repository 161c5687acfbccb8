#pragma once

#include <complex>
#include <numbers>

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

}  // namespace trimwright

#include <fmt/format.h>

#include <cmath>

#include "trimwright/phasor.hpp"

namespace trimwright {

double wrap_360(double degrees) {
  const double wrapped = std::fmod(degrees, 360.0);
  const double positive = wrapped < 0.0 ? wrapped + 360.0 : wrapped;
  return positive >= 360.0 ? 0.0 : positive;  // a tiny negative angle rounds up to 360
}

double wrap_180(double degrees) {
  const double wrapped = wrap_360(degrees);
  return wrapped > 180.0 ? wrapped - 360.0 : wrapped;
}

double rounded_angle(double degrees, int decimals) {
  const double scale = std::pow(10.0, decimals);
  return std::abs(wrap_360(std::floor(degrees * scale + 0.5 + 1e-6) / scale));  // never "-0"
}

std::string angle_words(double degrees, int decimals) {
  return fmt::format("{:.{}f}°", rounded_angle(degrees, decimals), decimals);
}

RotorAngle RotorAngle::from_degrees(double degrees, Direction sense) {
  RotorAngle angle;
  angle.degrees_ = wrap_360(sense == Direction::with_rotation ? degrees : -degrees);
  return angle;
}

RotorAngle RotorAngle::of(std::complex<double> moment) {
  return from_degrees(trimwright::degrees(std::arg(moment)));
}

}  // namespace trimwright

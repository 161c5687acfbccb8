#include "trimwright/phasor.hpp"

#include <cmath>

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

RotorAngle RotorAngle::from_degrees(double degrees, Direction sense) {
  RotorAngle angle;
  angle.degrees_ = wrap_360(sense == Direction::with_rotation ? degrees : -degrees);
  return angle;
}

RotorAngle RotorAngle::of(std::complex<double> moment) {
  return from_degrees(trimwright::degrees(std::arg(moment)));
}

}  // namespace trimwright

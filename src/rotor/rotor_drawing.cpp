#include "rotor_drawing.hpp"

#include <cmath>

namespace trimwright {

Spot RotorDrawing::at(double radius, double angle_deg) const {
  const double sine = std::sin(radians(angle_deg));
  return {centre.x + (clockwise ? radius : -radius) * sine, centre.y - radius * std::cos(radians(angle_deg))};
}

RotorDrawing rotor_drawing(const Rotor& rotor, ViewingEnd end, Spot centre) {
  return {centre, rotor.rotation.seen(end) == Sense::clockwise};
}

RotorDrawing rotor_drawing(const Rotor& rotor, const Plane& plane, Spot centre) {
  return rotor_drawing(rotor, viewing_end(rotor, plane), centre);
}

}  // namespace trimwright

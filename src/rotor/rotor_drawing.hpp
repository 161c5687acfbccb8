#pragma once

#include "trimwright/rotor.hpp"

namespace trimwright {

/// A place in a drawing: x to the right, y down.
struct Spot {
  double x = 0.0;
  double y = 0.0;
};

/// A plane as a person standing at one end sees it, the reference tooth at the top.
///
/// Rotor angles grow with rotation: clockwise on the drawing where the rotor turns clockwise seen from that
/// end, else counterclockwise.
struct RotorDrawing {
  Spot centre;
  bool clockwise = true;  ///< the rotor's turning as drawn

  [[nodiscard]] Spot at(double radius, RotorAngle angle) const { return at(radius, angle.degrees()); }
  [[nodiscard]] Spot at(double radius, double angle_deg) const;
};

/// Seen from `end`, as all drawings are.
[[nodiscard]] RotorDrawing rotor_drawing(const Rotor& rotor, ViewingEnd end, Spot centre);
/// Seen from the plane's `viewing_end`.
[[nodiscard]] RotorDrawing rotor_drawing(const Rotor& rotor, const Plane& plane, Spot centre);

}  // namespace trimwright

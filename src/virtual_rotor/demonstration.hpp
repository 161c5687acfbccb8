#pragma once

#include <cstdint>

#include "virtual_rotor.hpp"

namespace trimwright::virtual_rotor {

/// An invented fan shaft to show and rehearse on: a fan overhung in front, a turbine overhung behind, two
/// anisotropic supports on casings; 5120 rpm, a well damped critical speed near 60 %, planes "spinner" (at
/// the fan) and "drum" (at the turbine), a velocity sensor on each casing. Every number is our own.
[[nodiscard]] VirtualRotor demonstration_rotor();

/// How rotors of one family differ: one standard deviation of the natural logarithm of each factor.
struct FamilySpread {
  double support_stiffness = 0.06;
  double support_damping = 0.15;
  double casing = 0.05;               ///< its mass, stiffness and damping, each on its own
  double disc = 0.005;                ///< mass and inertias of a disc together
  double sensor_direction_deg = 1.0;  ///< one standard deviation, degrees
  bool new_unbalance = true;          ///< draw the hidden unbalance anew: same rms size, any direction
};

/// Another rotor of the same family: the same `seed` gives the same rotor on every platform.
[[nodiscard]] VirtualRotor family_member(const VirtualRotor& nominal, const FamilySpread& spread,
                                         std::uint64_t seed);

}  // namespace trimwright::virtual_rotor

#pragma once

#include <Eigen/Core>

#include "virtual_rotor.hpp"

namespace trimwright::virtual_rotor {

/// Finite-element matrices of one piece of shaft bending in *one* plane.
///
/// Coordinates: (x1, a1, x2, a2): deflection [m] and slope of the cross-section [rad] at the two ends.
/// Because slopes are used instead of rotations about the axes, the x and the y plane have the same matrices,
/// and the gyroscopic coupling of the planes is twice `rotary_inertia` (a ring's polar moment is twice its
/// diametral).
struct BeamElement {
  Eigen::Matrix4d stiffness;
  Eigen::Matrix4d translational_mass;
  Eigen::Matrix4d rotary_inertia;
};

/// Shear coefficient of a circular or ring section: Hutchinson, J. Appl. Mech. 68 (2001), as given by
/// Friswell, Penny, Garvey & Lees, Dynamics of Rotating Machines (2010), chapter 5 (from memory).
[[nodiscard]] double shear_coefficient(const ShaftSection& section, double poissons_ratio);

/// Consistent matrices of a uniform element of `length` [m].
///
/// Nelson & McVaugh, J. Eng. Ind. 98 (1976) 593 without shear, Nelson, J. Mech. Des. 102 (1980) 793 with it,
/// in the notation of Friswell et al. (2010), section 5.4. With the shear parameter Phi = 12 E I / (kappa G A
/// l^2) zero, the second is the first.
[[nodiscard]] BeamElement beam_element(const ShaftSection& section, double length, const Material& material,
                                       bool shear_flexible);

}  // namespace trimwright::virtual_rotor

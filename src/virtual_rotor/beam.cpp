#include "beam.hpp"

#include <cmath>
#include <numbers>

namespace trimwright::virtual_rotor {

namespace {

/// The pattern all three matrices share: a uniform element looks the same from either end.
///
/// p: deflection with itself, q: with its own slope, r: with the far deflection, s: with the far slope,
/// t: slope with itself, u: with the far slope.
Eigen::Matrix4d symmetric_element(double p, double q, double r, double s, double t, double u) {
  Eigen::Matrix4d m;
  m << p, q, r, s,   //
      q, t, -s, u,   //
      r, -s, p, -q,  //
      s, u, -q, t;
  return m;
}

}  // namespace

double shear_coefficient(const ShaftSection& section, double poissons_ratio) {
  const double nu = poissons_ratio;
  const double ratio = section.inner_diameter / section.outer_diameter;
  const double hollow = ratio * ratio;
  const double open = (1.0 + hollow) * (1.0 + hollow);
  return 6.0 * (1.0 + nu) * (1.0 + nu) * open /
         ((7.0 + 12.0 * nu + 4.0 * nu * nu) * open + 4.0 * (5.0 + 6.0 * nu + 2.0 * nu * nu) * hollow);
}

BeamElement beam_element(const ShaftSection& section, double length, const Material& material,
                         bool shear_flexible) {
  const double outer2 = section.outer_diameter * section.outer_diameter;
  const double inner2 = section.inner_diameter * section.inner_diameter;
  const double area = std::numbers::pi / 4.0 * (outer2 - inner2);
  const double second_moment = std::numbers::pi / 64.0 * (outer2 * outer2 - inner2 * inner2);
  const double l = length;
  const double shear_modulus = material.youngs_modulus / (2.0 * (1.0 + material.poissons_ratio));
  const double kappa = shear_coefficient(section, material.poissons_ratio);
  const double f =
      shear_flexible ? 12.0 * material.youngs_modulus * second_moment / (kappa * shear_modulus * area * l * l)
                     : 0.0;
  const double f2 = f * f;

  BeamElement element;
  element.stiffness = material.youngs_modulus * second_moment / ((1.0 + f) * l * l * l) *
                      symmetric_element(12.0, 6.0 * l, -12.0, 6.0 * l, (4.0 + f) * l * l, (2.0 - f) * l * l);
  element.translational_mass =
      material.density * area * l / (840.0 * (1.0 + f) * (1.0 + f)) *
      symmetric_element(312.0 + 588.0 * f + 280.0 * f2, (44.0 + 77.0 * f + 35.0 * f2) * l,
                        108.0 + 252.0 * f + 140.0 * f2, -(26.0 + 63.0 * f + 35.0 * f2) * l,
                        (8.0 + 14.0 * f + 7.0 * f2) * l * l, -(6.0 + 14.0 * f + 7.0 * f2) * l * l);
  element.rotary_inertia =
      material.density * second_moment / (30.0 * (1.0 + f) * (1.0 + f) * l) *
      symmetric_element(36.0, (3.0 - 15.0 * f) * l, -36.0, (3.0 - 15.0 * f) * l,
                        (4.0 + 5.0 * f + 10.0 * f2) * l * l, (-1.0 - 5.0 * f + 5.0 * f2) * l * l);
  return element;
}

}  // namespace trimwright::virtual_rotor

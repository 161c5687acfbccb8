// A disc at midspan of a light shaft, damped at the disc: H. H. Jeffcott, "The lateral vibration of loaded
// shafts in the neighbourhood of a whirling speed", Phil. Mag. 37 (1919) 304-314. The closed form is that of
// W. T. Thomson, Theory of Vibration with Applications, sections 3.2 and 3.4 (section numbers from memory):
//     r / e = (w/p)^2 / sqrt((1 - (w/p)^2)^2 + (2 zeta w/p)^2),   tan(phi) = 2 zeta (w/p) / (1 - (w/p)^2),
// r: whirl radius, e: eccentricity, phi: angle by which the deflection trails the heavy spot.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "trimwright/phasor.hpp"
#include "virtual_rotor/response.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

constexpr double length = 0.8, diameter = 0.02, disc_mass = 5.0, support_stiffness = 2.0e6, zeta = 0.04;

/// Two springs under the ends and the simply supported shaft's 48 E I / L^3 act in series.
double midspan_stiffness(double youngs_modulus) {
  const double second_moment = std::numbers::pi / 64.0 * std::pow(diameter, 4);
  return 1.0 / (std::pow(length, 3) / (48.0 * youngs_modulus * second_moment) + 0.5 / support_stiffness);
}

VirtualRotor jeffcott_rotor() {
  VirtualRotor rotor;
  rotor.full_speed_rpm = 3000.0;
  rotor.material.density = 1e-6;  // the shaft weighs nothing
  rotor.shear_flexible = false;
  rotor.shaft = {{length, diameter, 0.0}};
  rotor.longest_element = 0.2;
  const double k = midspan_stiffness(rotor.material.youngs_modulus);
  rotor.discs = {{"disc", length / 2.0, disc_mass, 0.01, 0.0, 2.0 * zeta * std::sqrt(k * disc_mass)}};
  for (const double at : {0.0, length}) {
    Support support;
    support.at = at;
    support.stiffness = Eigen::Vector2d::Constant(support_stiffness).asDiagonal();
    rotor.supports.push_back(support);
  }
  rotor.pickup = {70.0};
  return rotor;
}

}  // namespace

TEST_CASE(
    "a Jeffcott rotor whirls with the textbook's amplitude and phase below, at and above its critical "
    "speed") {
  const auto assembled = assemble(jeffcott_rotor());
  REQUIRE(assembled);
  const double critical =
      std::sqrt(midspan_stiffness(assembled->rotor().material.youngs_modulus) / disc_mass);
  const double heavy_spot_deg = 25.0, unbalance_g_mm = 400.0;
  const double eccentricity = unbalance_g_mm * 1e-6 / disc_mass;
  const int x = EquationsOfMotion::node_dof(assembled->equations().node_near(length / 2.0));

  for (const double ratio : {0.05, 0.4, 0.8, 0.95, 1.0, 1.05, 1.3, 2.0, 5.0}) {
    CAPTURE(ratio);
    const double r2 = ratio * ratio;
    const double radius = eccentricity * r2 / std::hypot(1.0 - r2, 2.0 * zeta * ratio);
    const double trails = std::atan2(2.0 * zeta * ratio, 1.0 - r2);

    const Eigen::VectorXcd q = unbalance_response(
        *assembled, length / 2.0, std::polar(unbalance_g_mm, radians(heavy_spot_deg)), ratio * critical);
    CHECK(std::abs(q(x)) == doctest::Approx(radius).epsilon(1e-6));
    CHECK(std::abs(q(x + 1)) == doctest::Approx(radius).epsilon(1e-6));

    // x points at casing angle 0 and the tooth passes at 70 degrees: the heavy spot passes x 70 + 25 degrees
    // before the tooth passes the pickup, and the deflection follows `trails` later. y is 90 degrees further
    // on.
    const double lead_x = radians(70.0 + heavy_spot_deg) - trails;
    CHECK(std::abs(std::polar(radius, lead_x) - q(x)) < 1e-6 * radius);
    CHECK(std::abs(std::polar(radius, lead_x - std::numbers::pi / 2.0) - q(x + 1)) < 1e-6 * radius);
  }
}

TEST_CASE(
    "at the critical speed the deflection trails the heavy spot by a quarter turn, far above it by a half") {
  const auto assembled = assemble(jeffcott_rotor());
  REQUIRE(assembled);
  const double critical =
      std::sqrt(midspan_stiffness(assembled->rotor().material.youngs_modulus) / disc_mass);
  const int x = EquationsOfMotion::node_dof(assembled->equations().node_near(length / 2.0));
  const auto trails_deg = [&](double spin) {
    const Eigen::VectorXcd q =
        unbalance_response(*assembled, length / 2.0, std::polar(1.0, radians(-70.0)), spin);
    return wrap_360(-degrees(std::arg(q(x))));
  };
  CHECK(trails_deg(critical) == doctest::Approx(90.0).epsilon(1e-6));
  CHECK(trails_deg(30.0 * critical) == doctest::Approx(180.0).epsilon(0.002));
}

#include "virtual_rotor/virtual_rotor.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <numbers>

#include "virtual_rotor/beam.hpp"
#include "virtual_rotor/demonstration.hpp"
#include "virtual_rotor/equations.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

/// The key complained about after `spoil`, or "" when nothing is.
std::string complaint(const std::function<void(VirtualRotor&)>& spoil) {
  VirtualRotor rotor = demonstration_rotor();
  spoil(rotor);
  const auto assembled = assemble(rotor);
  return assembled ? "" : assembled.error().where.key;
}

}  // namespace

TEST_CASE("a virtual rotor that cannot be is refused with the key that is wrong") {
  CHECK(complaint([](VirtualRotor&) {}).empty());
  CHECK(complaint([](VirtualRotor& r) { r.full_speed_rpm = 0.0; }) == "full_speed_rpm");
  CHECK(complaint([](VirtualRotor& r) { r.shaft.clear(); }) == "shaft");
  CHECK(complaint([](VirtualRotor& r) { r.shaft[1].inner_diameter = 0.2; }) == "shaft[1].inner_diameter");
  CHECK(complaint([](VirtualRotor& r) { r.shaft[0].length = NAN; }) == "shaft[0].length");
  CHECK(complaint([](VirtualRotor& r) { r.longest_element = 1e-6; }) == "longest_element");
  CHECK(complaint([](VirtualRotor& r) { r.discs[0].mass = -1.0; }) == "discs[0].mass");
  CHECK(complaint([](VirtualRotor& r) { r.discs[1].at = 1.6; }) == "discs[1].at");
  CHECK(complaint([](VirtualRotor& r) { r.discs[0].polar_inertia = 6.0; }) == "discs[0].polar_inertia");
  CHECK(complaint([](VirtualRotor& r) { r.supports.pop_back(); }) == "supports");
  CHECK(complaint([](VirtualRotor& r) { r.supports[1].stiffness(0, 0) = 0.0; }) == "supports[1].stiffness");
  CHECK(complaint([](VirtualRotor& r) { r.supports[0].damping(1, 1) = -1.0; }) == "supports[0].damping");
  CHECK(complaint([](VirtualRotor& r) { r.supports[0].casing->mass = 0.0; }) == "supports[0].casing.mass");
  CHECK(complaint([](VirtualRotor& r) { r.planes[0].at = -0.1; }) == "planes[0].at");
  CHECK(complaint([](VirtualRotor& r) { r.planes[0].at = NAN; }) == "planes[0].at");
  CHECK(complaint([](VirtualRotor& r) { r.as_found[0].moment = INFINITY; }) == "as_found[0].moment");
  CHECK(complaint([](VirtualRotor& r) { r.sensors[0].support = 2; }) == "sensors[0].support");
  CHECK(complaint([](VirtualRotor& r) { r.supports[1].casing.reset(); }) == "sensors[1].support");
}

TEST_CASE("a fluid-film bearing's unequal cross-coupling is no mistake") {
  CHECK(complaint([](VirtualRotor& r) {
          r.supports[0].stiffness(0, 1) = 8e6;
          r.supports[0].stiffness(1, 0) = -8e6;
        }).empty());
}

TEST_CASE("mass, damping and stiffness are symmetric, the gyroscopic matrix is skew, and the masses add up") {
  const auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  const EquationsOfMotion& e = assembled->equations();
  CHECK((e.M - e.M.transpose()).norm() < 1e-12 * e.M.norm());
  CHECK((e.C - e.C.transpose()).norm() < 1e-12 * e.C.norm());
  CHECK((e.K - e.K.transpose()).norm() < 1e-12 * e.K.norm());
  CHECK((e.G + e.G.transpose()).norm() < 1e-12 * e.G.norm());

  Eigen::VectorXd sideways =
      Eigen::VectorXd::Zero(e.size());  // the whole rotor moved by 1 m, casings at rest
  for (std::size_t n = 0; n < e.node_at.size(); ++n)
    sideways(EquationsOfMotion::node_dof(static_cast<int>(n))) = 1;
  CHECK(sideways.dot(e.M * sideways) == doctest::Approx(turning_mass(assembled->rotor())));
  double bearings = 0.0;
  for (const Support& support : assembled->rotor().supports) bearings += support.stiffness(0, 0);
  CHECK(sideways.dot(e.K * sideways) == doctest::Approx(bearings).epsilon(1e-6));
}

TEST_CASE("every station has a node of its own place") {
  const auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  const EquationsOfMotion& e = assembled->equations();
  for (const double at : {0.0, 0.02, 0.06, 0.24, 0.75, 1.26, 1.44, 1.47, 1.5}) {
    CHECK(std::abs(e.node_at[static_cast<std::size_t>(e.node_near(at))] - at) < 1e-9);
  }
  REQUIRE(e.node_at.size() >= 9);
  for (std::size_t n = 1; n < e.node_at.size(); ++n) {
    CHECK(e.node_at[n] - e.node_at[n - 1] <= assembled->rotor().longest_element + 1e-9);
  }
}

TEST_CASE("a beam element turned as a whole is not strained and has its rigid inertia") {
  const ShaftSection section{0.4, 0.09, 0.05};
  const Material material;
  const BeamElement beam = beam_element(section, 0.4, material, true);
  const Eigen::Vector4d turned(0.0, 1.0, 0.4, 1.0);  // about its left end
  CHECK((beam.stiffness * turned).norm() < 1e-9 * beam.stiffness.norm());
  const double area = std::numbers::pi / 4.0 * (0.09 * 0.09 - 0.05 * 0.05);
  const double second_moment = std::numbers::pi / 64.0 * (std::pow(0.09, 4) - std::pow(0.05, 4));
  CHECK(turned.dot(beam.translational_mass * turned) ==
        doctest::Approx(material.density * area * std::pow(0.4, 3) / 3.0));
  CHECK(turned.dot(beam.rotary_inertia * turned) == doctest::Approx(material.density * second_moment * 0.4));
}

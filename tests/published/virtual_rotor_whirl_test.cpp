#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "some.hpp"
#include "virtual_rotor/beam.hpp"
#include "virtual_rotor/whirl.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

Support plain_support(double at, double stiffness) {
  Support support;
  support.at = at;
  support.stiffness = Eigen::Vector2d::Constant(stiffness).asDiagonal();
  return support;
}

double lowest(const std::vector<WhirlMode>& modes, Whirl whirl, std::size_t which) {
  std::vector<double> found;
  for (const WhirlMode& mode : modes) {
    if (mode.whirl == whirl) found.push_back(mode.frequency());
  }
  REQUIRE(found.size() > which);
  return found[which];
}

}  // namespace

// Nelson & McVaugh, "The dynamics of rotor-bearing systems using finite elements", J. Eng. Ind. 98 (1976)
// 593-600: their example rotor on undamped isotropic bearings. Station data and critical speeds from memory.
// The paper prints centimetres; every length is a round number of inches (0.51 cm = 0.2 in), and those are
// used here. The figures agree to 0.4 %, the forward ones of the first two pairs to 0.02 %; the rounding of
// the remembered data is of that order.
TEST_CASE("the critical speeds of Nelson and McVaugh's example come out") {
  constexpr double inch = 0.0254;
  constexpr std::array<double, 19> station{0.0, 0.5, 2.0, 3.0,  3.5,  4.0,  4.2,  4.5,  5.0, 5.3,
                                           6.5, 7.5, 9.0, 10.5, 11.3, 12.0, 12.4, 13.6, 14.0};
  constexpr std::array<double, 18> outer_radius{0.2, 0.4, 0.3, 0.8, 0.8, 1.3, 1.3, 1.0, 1.0,
                                                0.5, 0.5, 0.6, 0.6, 0.5, 0.5, 1.5, 0.8, 0.8};
  constexpr std::array<double, 18> inner_radius{0, 0, 0, 0, 0, 0, 0.6, 0.7, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0.6};
  VirtualRotor rotor;
  rotor.full_speed_rpm = 20000.0;
  rotor.material = {2.078e11, 0.3, 7806.0};
  rotor.shear_flexible = false;
  for (std::size_t i = 0; i < outer_radius.size(); ++i) {
    rotor.shaft.push_back(
        {(station[i + 1] - station[i]) * inch, 2.0 * outer_radius[i] * inch, 2.0 * inner_radius[i] * inch});
  }
  rotor.discs = {{"disc", 3.5 * inch, 1.401, 0.00136, 0.0020, 0.0}};
  rotor.supports = {plain_support(6.5 * inch, 4.378e7), plain_support(11.3 * inch, 4.378e7)};

  const auto assembled = assemble(rotor);
  REQUIRE(assembled);
  const std::vector<WhirlMode> criticals = critical_speeds(assembled->equations());
  constexpr std::array<double, 3> backward{15470.0, 46612.0, 64752.0}, forward{17159.0, 49983.0, 96547.0};
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(rpm(lowest(criticals, Whirl::backward, i)) == doctest::Approx(backward[i]).epsilon(0.002));
    CHECK(rpm(lowest(criticals, Whirl::forward, i)) ==
          doctest::Approx(forward[i]).epsilon(i < 2 ? 0.0002 : 0.004));
  }
}

// A uniform pinned shaft of Rayleigh's theory (bending and rotary inertia), mode sin(k z), k = n pi / L,
// turning at `spin`: w^2 (rho A + rho I k^2) - 2 rho I k^2 spin w - E I k^4 = 0, w > 0 forward, w < 0
// backward. Eshleman & Eubanks, J. Eng. Ind. 91 (1969) 1180 (from memory); it follows by putting the mode in
// the beam equation.
TEST_CASE("a pinned uniform shaft whirls at the frequencies of the beam equation, split by its spin") {
  VirtualRotor rotor;
  rotor.full_speed_rpm = 10000.0;
  rotor.shear_flexible = false;
  rotor.shaft = {{1.2, 0.12, 0.06}};
  rotor.longest_element = 0.05;
  rotor.supports = {plain_support(0.0, 1e14), plain_support(1.2, 1e14)};
  const auto assembled = assemble(rotor);
  REQUIRE(assembled);

  const double area = std::numbers::pi / 4.0 * (0.12 * 0.12 - 0.06 * 0.06);
  const double second_moment = std::numbers::pi / 64.0 * (std::pow(0.12, 4) - std::pow(0.06, 4));
  const double rho = rotor.material.density, bending = rotor.material.youngs_modulus * second_moment;
  const double spin = 2000.0;
  const std::vector<WhirlMode> modes = whirl_modes(assembled->equations(), spin);
  for (std::size_t n = 1; n <= 3; ++n) {
    const double k = static_cast<double>(n) * std::numbers::pi / 1.2;
    const double a = rho * (area + second_moment * k * k), b = rho * second_moment * k * k * spin;
    const double root = std::sqrt(b * b + a * bending * std::pow(k, 4));
    CHECK(lowest(modes, Whirl::forward, n - 1) == doctest::Approx((b + root) / a).epsilon(1e-4));
    CHECK(lowest(modes, Whirl::backward, n - 1) == doctest::Approx((root - b) / a).epsilon(1e-4));
  }
}

namespace {

std::vector<WhirlMode> stubby_shaft_modes(double longest_element) {
  VirtualRotor rotor;
  rotor.full_speed_rpm = 10000.0;
  rotor.shaft = {{1.2, 0.2, 0.1}};
  rotor.longest_element = longest_element;
  rotor.supports = {plain_support(0.0, 1e15), plain_support(1.2, 1e15)};
  const auto assembled = assemble(rotor);
  REQUIRE(assembled);
  return whirl_modes(assembled->equations(), 0.0);
}

}  // namespace

// S. P. Timoshenko, Phil. Mag. 41 (1921) 744: a pinned beam with shear. For mode sin(k z):
// (rho I rho / (kappa G)) w^4 - (rho A + rho I k^2 + rho E I k^2 / (kappa G)) w^2 + E I k^4 = 0, lower root.
// With elements much shorter than the shaft is thick the error goes with the square of their length (it is
// 9e-4 in the third mode at 0.03 m), so the limit is read off two meshes.
TEST_CASE(
    "shear lowers the frequencies of a stubby shaft to those of Timoshenko's equation as elements shorten") {
  const double area = std::numbers::pi / 4.0 * (0.2 * 0.2 - 0.1 * 0.1);
  const double second_moment = std::numbers::pi / 64.0 * (std::pow(0.2, 4) - std::pow(0.1, 4));
  const Material material;
  const double rho = material.density, e = material.youngs_modulus;
  const double shear = shear_coefficient({1.2, 0.2, 0.1}, 0.3) * e / 2.6;
  const std::vector<WhirlMode> coarse = stubby_shaft_modes(0.06), fine = stubby_shaft_modes(0.03);
  for (std::size_t n = 1; n <= 3; ++n) {
    const double k2 = std::pow(static_cast<double>(n) * std::numbers::pi / 1.2, 2);
    const double a = rho * rho * second_moment / shear;
    const double b = rho * area + rho * second_moment * k2 * (1.0 + e / shear);
    const double c = e * second_moment * k2 * k2;
    const double w = std::sqrt((b - std::sqrt(b * b - 4.0 * a * c)) / (2.0 * a));
    for (const std::size_t mode : {2 * n - 2, 2 * n - 1}) {  // one in each plane
      const double limit = (4.0 * fine[mode].frequency() - coarse[mode].frequency()) / 3.0;
      CHECK(limit == doctest::Approx(w).epsilon(1e-5));
      CHECK(fine[mode].frequency() == doctest::Approx(w).epsilon(1e-3));
    }
  }
}

// A rigid rotor, symmetric on two like isotropic springs k at +-a: bouncing at sqrt(2 k / m), tilting at
// w = Ip spin / (2 Id) +- sqrt((Ip spin / (2 Id))^2 + 2 k a^2 / Id). Friswell, Penny, Garvey & Lees, Dynamics
// of Rotating Machines (2010), chapter 3 (from memory).
TEST_CASE("a rigid rotor bounces whatever its spin, and its tilting mode splits as the gyroscope says") {
  VirtualRotor rotor;
  rotor.full_speed_rpm = 6000.0;
  rotor.material.youngs_modulus = 1e16;
  rotor.shaft = {{0.6, 0.08, 0.0}};
  rotor.longest_element = 0.3;
  rotor.discs = {{"disc", 0.3, 20.0, 0.4, 0.75, 0.0}};
  const double k = 5.0e5, a = 0.3, spin = 500.0;
  rotor.supports = {plain_support(0.0, k), plain_support(0.6, k)};
  const auto assembled = assemble(rotor);
  REQUIRE(assembled);

  const double shaft_mass = turning_mass(rotor) - 20.0;
  const double ring = shaft_mass * 0.08 * 0.08 / 16.0;  // diametral inertia of the shaft's thickness
  const double diametral = 0.4 + shaft_mass * 0.6 * 0.6 / 12.0 + ring, polar = 0.75 + 2.0 * ring;
  const double bounce = std::sqrt(2.0 * k / (20.0 + shaft_mass));
  const double turn = polar * spin / (2.0 * diametral);
  const double root = std::sqrt(turn * turn + 2.0 * k * a * a / diametral);
  std::vector<double> expected{bounce, bounce, root - turn, root + turn};
  std::sort(expected.begin(), expected.end());
  const std::vector<WhirlMode> modes = whirl_modes(assembled->equations(), spin);
  for (std::size_t i = 0; i < 4; ++i)
    CHECK(modes[i].frequency() == doctest::Approx(expected[i]).epsilon(1e-5));
  for (const WhirlMode& mode :
       testing::some(modes)) {  // bouncing is the same in any direction: it has no sense
    if (std::abs(mode.frequency() - (root - turn)) < 1e-4 * root) CHECK(mode.whirl == Whirl::backward);
    if (std::abs(mode.frequency() - (root + turn)) < 1e-4 * root) CHECK(mode.whirl == Whirl::forward);
  }
}

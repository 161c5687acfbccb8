#include "virtual_rotor/whirl.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "some.hpp"
#include "virtual_rotor/demonstration.hpp"
#include "virtual_rotor/response.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

VirtualRotor undamped_demonstration() {
  VirtualRotor rotor = demonstration_rotor();
  for (Support& support : rotor.supports) {
    support.damping.setZero();
    support.casing->damping.setZero();
  }
  return rotor;
}

}  // namespace

TEST_CASE("a whirl mode satisfies the equations of motion") {
  const auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  const EquationsOfMotion& e = assembled->equations();
  const double spin = 350.0;
  const std::vector<WhirlMode> modes = whirl_modes(e, spin);
  REQUIRE(modes.size() > 8);
  for (std::size_t i = 0; i < 8; ++i) {
    const std::complex<double> s = modes[i].eigenvalue;
    const Eigen::VectorXcd stiffness = e.K * modes[i].shape;
    const Eigen::VectorXcd rest = s * s * (e.M * modes[i].shape) + s * ((e.C + spin * e.G) * modes[i].shape);
    CHECK((stiffness + rest).norm() < 1e-6 * stiffness.norm());
    CHECK(modes[i].damping_ratio() > 0.0);
  }
}

TEST_CASE("without damping a critical speed is where a whirl frequency equals the spin") {
  const auto assembled = assemble(undamped_demonstration());
  REQUIRE(assembled);
  const std::vector<WhirlMode> criticals = critical_speeds(assembled->equations());
  REQUIRE(criticals.size() >= 4);
  for (std::size_t i = 0; i < 4; ++i) {
    const double critical = criticals[i].frequency();
    double nearest = INFINITY;
    for (const WhirlMode& mode : whirl_modes(assembled->equations(), critical)) {
      nearest = std::min(nearest, std::abs(mode.frequency() - critical));
    }
    CHECK(nearest < 1e-6 * critical);
  }
}

TEST_CASE("spin raises forward whirl and lowers backward whirl") {
  const auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  const auto first = [&](double spin, Whirl whirl) {
    for (const WhirlMode& mode : whirl_modes(assembled->equations(), spin)) {
      if (mode.whirl == whirl) return mode.frequency();
    }
    return 0.0;
  };
  CHECK(first(500.0, Whirl::forward) > first(200.0, Whirl::forward));
  CHECK(first(500.0, Whirl::backward) < first(200.0, Whirl::backward));
}

TEST_CASE(
    "the demonstration rotor has a damped critical speed near 60 % speed, where the fan's vibration peaks") {
  const auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  const double full = rad_per_s(assembled->rotor().full_speed_rpm);
  bool found = false;
  for (const WhirlMode& mode : testing::some(critical_speeds(assembled->equations()))) {
    const double part = mode.frequency() / full;
    if (mode.whirl == Whirl::forward && part > 0.57 && part < 0.63) {
      found = true;
      CHECK(mode.damping_ratio() > 0.05);
      CHECK(mode.damping_ratio() < 0.15);
    }
  }
  CHECK(found);
  double peak_at = 0.0, peak = 0.0;
  for (double percent = 20.0; percent <= 100.0; percent += 1.0) {
    const double size = std::abs(
        speed_response(*assembled, percent / 100.0 * assembled->rotor().full_speed_rpm).influence(0, 0));
    if (size > peak) {
      peak = size;
      peak_at = percent;
    }
  }
  CHECK(peak_at >= 57.0);
  CHECK(peak_at <= 64.0);
}

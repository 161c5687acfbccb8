#include "virtual_rotor/speed_profile.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "virtual_rotor/equations.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

SpeedProfile run_up_and_dwell() {
  SpeedProfile profile;
  profile.start_rpm = 600.0;
  profile.dwell(2.0).ramp_to(3000.0, 6.0).dwell(3.0).ramp_to(1200.0, 4.0);
  profile.start_angle_deg = 200.0;
  profile.wander_rpm = 15.0;
  profile.wander_period_s = 4.0;
  return profile;
}

std::string complaint(const SpeedProfile& profile) {
  const auto motion = ShaftMotion::of(profile);
  return motion ? "" : motion.error().where.key;
}

}  // namespace

TEST_CASE("the shaft's angle is the integral of its speed through dwells, ramps and wander") {
  const auto motion = ShaftMotion::of(run_up_and_dwell());
  REQUIRE(motion);
  CHECK(motion->duration() == doctest::Approx(15.0));
  constexpr int steps = 15000;
  const double h = 15.0 / steps;
  double angle = 200.0 * std::numbers::pi / 180.0;
  for (int i = 0; i < steps; ++i) {  // Simpson's rule; corners of the profile fall on steps
    const double t = i * h;
    angle += h / 6.0 * (motion->at(t).speed + 4.0 * motion->at(t + h / 2.0).speed + motion->at(t + h).speed);
  }
  CHECK(motion->at(15.0).angle == doctest::Approx(angle).epsilon(1e-10));
}

TEST_CASE("speed follows the profile and stays within the stated range") {
  const auto motion = ShaftMotion::of(run_up_and_dwell());
  REQUIRE(motion);
  CHECK(rpm(motion->at(5.0).speed) == doctest::Approx(1800.0 + 15.0 * std::sin(2.5 * std::numbers::pi)));
  for (double t = 0.0; t <= 15.0; t += 0.01) {
    CHECK(motion->at(t).speed >= motion->lowest_speed() - 1e-9);
    CHECK(motion->at(t).speed <= motion->highest_speed() + 1e-9);
  }
}

TEST_CASE("a profile that cannot be run is refused with the key that is wrong") {
  SpeedProfile none;
  CHECK(complaint(none) == "speed");
  SpeedProfile backwards;
  CHECK(complaint(backwards.ramp_to(-100.0, 5.0)) == "speed.pieces[0].to_rpm");
  SpeedProfile instant;
  CHECK(complaint(instant.dwell(1.0).ramp_to(100.0, 0.0)) == "speed.pieces[1].seconds");
  SpeedProfile hunting = run_up_and_dwell();
  hunting.wander_rpm = 700.0;
  CHECK(complaint(hunting) == "speed.wander_rpm");
  hunting.wander_rpm = NAN;
  CHECK(complaint(hunting) == "speed.wander_rpm");
}

TEST_CASE("a stopped rotor is a profile too") {
  SpeedProfile stopped;
  const auto motion = ShaftMotion::of(stopped.dwell(2.0));
  REQUIRE(motion);
  CHECK(motion->at(1.5).speed == 0.0);
  CHECK(motion->at(1.5).angle == 0.0);
}

#include "reference/tooth_track.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "follow_ring.hpp"
#include "reference/tooth_spacing.hpp"
#include "some.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

TEST_CASE("the shaft angle passes through every tooth and is exact under steady acceleration") {
  const auto angle = [](double t) { return 3.0 + 40.0 * t + 25.0 * t * t; };
  std::vector<TrackPoint> points;
  for (const double t : {0.0, 0.1, 0.25, 0.3, 0.5, 0.55}) points.push_back({t, angle(t)});
  const auto track = ToothTrack::through(points);
  REQUIRE(track);
  for (const TrackPoint& point : testing::some(points))
    CHECK(track->angle_at(point.time_s) == doctest::Approx(point.angle_rad).epsilon(1e-12));
  for (double t = 0.0; t < 0.55; t += 0.013) {
    CHECK(track->angle_at(t) == doctest::Approx(angle(t)).epsilon(1e-12));
    CHECK(track->speed_at(t) == doctest::Approx(40.0 + 50.0 * t).epsilon(1e-12));
  }
}

TEST_CASE("a track needs two passages in order of time") {
  CHECK_FALSE(ToothTrack::through({{0.0, 0.0}}));
  CHECK_FALSE(ToothTrack::through({{0.0, 0.0}, {0.0, 1.0}}));
  CHECK_FALSE(ToothTrack::through({{1.0, 0.0}, {0.0, 1.0}}));
}

TEST_CASE("each tooth's spacing error is learned, in a run-up too, and taken out of the angle") {
  RingSignal signal;
  signal.rpm = 0.2 * signal.full_rpm;
  signal.rpm_per_s = 0.1 * signal.full_rpm;
  signal.duty = 0.85;  // room for the teeth to be out of place
  signal.spacing_error_rad.assign(34, 0.0);
  for (std::size_t k = 1; k < 34; ++k)
    signal.spacing_error_rad[k] = 0.01 * std::sin(5.0 * static_cast<double>(k * k));
  const Followed followed = follow(signal, 6.0);
  REQUIRE(followed.trusted() > 10);
  const Eigen::ArrayXd& spacing = followed.extraction.health.ring.spacing;
  for (int k = 0; k < 34; ++k)
    CHECK((spacing[k] - spacing[0]) * 2.0 * std::numbers::pi / 34.0 ==
          doctest::Approx(signal.spacing_error_rad[static_cast<std::size_t>(k)]).epsilon(1e-3).scale(0.5));
  CHECK(worst_angle_deg(followed, signal) < 0.03);
}

TEST_CASE("between teeth the angle follows the shaft through a run-up, even with one tooth only") {
  RingSignal signal;
  signal.teeth = 1;
  signal.duty = 0.3;
  signal.rpm = 0.1 * signal.full_rpm;
  signal.rpm_per_s = 0.1 * signal.full_rpm;
  const Followed followed = follow(signal, 6.0);
  REQUIRE(followed.trusted() > 10);
  for (const RevolutionBlock& block : followed.blocks)
    for (double t = block.track.begin_s(); t < block.track.end_s(); t += 0.0101)
      CHECK(std::abs(wrap_180(degrees(block.track.angle_at(t) - signal.angle(t)))) < 0.3);
}

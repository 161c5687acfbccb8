// Field balancing examples of S. S. Rao, Mechanical Vibrations, chapter on balancing of rotating machines
// (readings and answers from memory; the answers are also recomputed from the readings by another route in
// tests/oracle).
#include <doctest/doctest.h>

#include <functional>

#include "job_builder.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

FreePiece piece(double moment, double degrees, Direction sense) {
  return {moment, RotorAngle::from_degrees(degrees, sense)};
}

/// The two-plane example: left and right plane, bearings A and B. Amplitudes in mil, weights in units of
/// moment.
Job two_planes(PhaseConvention phase, Direction angles) {
  const Rotor rotor = free_rotor({"left", "right"}, {"A", "B"}, phase);
  return job_of(rotor,
                {run_of(rotor, "baseline", {{}, {}}, {{8.5, 60.0}, {6.5, 205.0}}),
                 run_of(rotor, "left", {{piece(10.0, 270.0, angles)}, {}}, {{6.0, 125.0}, {4.5, 230.0}}),
                 run_of(rotor, "right", {{}, {piece(12.0, 180.0, angles)}}, {{6.0, 35.0}, {10.5, 160.0}})});
}

void check_correction(const Correction::Part& part, double unbalance, double unbalance_deg,
                      Direction angles) {
  CHECK(std::abs(part.moment_to_add) == doctest::Approx(unbalance).epsilon(1e-5));
  const double opposite_deg = RotorAngle::from_degrees(unbalance_deg + 180.0, angles).degrees();
  CHECK(RotorAngle::of(part.moment_to_add).degrees() == doctest::Approx(opposite_deg).epsilon(1e-6));
}

void check_two_planes(PhaseConvention phase, Direction angles) {
  const Job job = two_planes(phase, angles);
  const auto model = fit_influence(job);
  REQUIRE(model);
  for (const auto objective : {SlotObjective::least_squares, SlotObjective::worst_ratio}) {
    TrimRequest request;
    request.objective = objective;
    const auto trim = plan_trim(job, *model, request);
    REQUIRE(trim);
    check_correction(trim->correction.parts[0], 10.0561, 145.5548, angles);
    check_correction(trim->correction.parts[1], 5.8774, 248.2559, angles);
    CHECK(trim->worst_ratio < 1e-6);
  }
}

}  // namespace

TEST_CASE("Rao's two-plane example, phase as lag and angles against rotation") {
  check_two_planes(PhaseConvention::lag, Direction::against_rotation);
}

TEST_CASE("Rao's two-plane example, phase as lead and angles with rotation") {
  check_two_planes(PhaseConvention::lead, Direction::with_rotation);
}

namespace {

/// The two-plane example with its baseline read once more before the last run, and what happened in between.
Job two_planes_and(const Event& event, const std::function<Phasor(std::size_t)>& later,
                   const std::function<Phasor(std::size_t)>& moved = {}) {
  Job job = two_planes(PhaseConvention::lag, Direction::against_rotation);
  Run again = job.runs[0];
  again.name = "again";
  again.before = {event};
  job.runs.insert(job.runs.begin() + 2, again);
  for (const std::size_t r : {2u, 3u})
    for (auto& reading : job.runs[r].readings) {
      reading.x = *reading.x * later(reading.sensor) + (moved ? moved(reading.sensor) : Phasor(0.0));
      reading.amplitude = std::abs(*reading.x);
    }
  for (auto& sensor : job.rotor.sensors) sensor.repeatability = 0.05;
  return job;
}

void check_comes_back(const Job& job) {
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  check_correction(trim->correction.parts[0], 10.0561, 145.5548, Direction::against_rotation);
  check_correction(trim->correction.parts[1], 5.8774, 248.2559, Direction::against_rotation);
}

}  // namespace

TEST_CASE("Rao's two-plane example comes back when its later phases are turned by an angle nobody tells") {
  check_comes_back(two_planes_and({Event::Kind::reference_moved},
                                  [](std::size_t) { return std::polar(1.0, radians(34.0)); }));
}

TEST_CASE("Rao's two-plane example comes back when one sensor is exchanged for another") {
  check_comes_back(two_planes_and({Event::Kind::sensor_changed, 1}, [](std::size_t sensor) {
    return sensor == 1 ? std::polar(0.8, radians(-25.0)) : Phasor(1.0);
  }));
}

TEST_CASE("Rao's two-plane example with its baseline moved asks for what cancels the new baseline") {
  const Phasor moved[] = {{1.5, -2.0}, {-0.7, 1.1}};
  const Job job = two_planes_and(
      {Event::Kind::baseline_new}, [](std::size_t) { return 1.0; },
      [&](std::size_t sensor) { return moved[sensor]; });
  const auto model = fit_influence(job),
             still = fit_influence(two_planes(PhaseConvention::lag, Direction::against_rotation));
  REQUIRE(model);
  REQUIRE(still);
  for (std::size_t i = 0; i < 2; ++i) {
    CHECK(std::abs(model->rows[i].baseline - still->rows[i].baseline - moved[i]) < 1e-9);
    CHECK((model->rows[i].coefficients - still->rows[i].coefficients).norm() < 1e-9);
  }
  // The new baseline alone with the coefficients of the published readings.
  Eigen::Matrix2cd c;
  Eigen::Vector2cd x0;
  for (Eigen::Index i = 0; i < 2; ++i) {
    c.row(i) = still->rows[static_cast<std::size_t>(i)].coefficients.transpose();
    x0(i) = still->rows[static_cast<std::size_t>(i)].baseline + moved[i];
  }
  const Phasor det = c(0, 0) * c(1, 1) - c(0, 1) * c(1, 0);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  const Phasor first = -(c(1, 1) * x0(0) - c(0, 1) * x0(1)) / det;
  CHECK(std::abs(trim->correction.parts[0].moment_to_add - first) < 1e-6 * std::abs(first));
}

TEST_CASE("Mixing lag with angles with rotation moves Rao's correction to the wrong place") {
  const Job job = two_planes(PhaseConvention::lag, Direction::with_rotation);
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  CHECK(trim->worst_ratio < 1e-6);  // it seems to fit perfectly: one trial run per plane cannot tell
  CHECK(model->runs.mirror.outcome == MirrorTest::Outcome::cannot_tell);
  const double right = RotorAngle::from_degrees(145.5548 + 180.0).degrees();
  CHECK(std::abs(wrap_180(RotorAngle::of(trim->correction.parts[0].moment_to_add).degrees() - right)) > 30.0);
}

TEST_CASE("Rao's single-plane flywheel: 47.53 at 128.26 degrees counterclockwise") {
  // Clockwise angles are negative; phases and the trial weight are read off the same protractor.
  const Rotor rotor = free_rotor({"flywheel"}, {"bearing"}, PhaseConvention::lead);
  const Job job = job_of(
      rotor, {run_of(rotor, "as found", {{}}, {{0.165, -15.0}}),
              run_of(rotor, "trial", {{piece(50.0, 45.0, Direction::with_rotation)}}, {{0.225, 35.0}})});
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  CHECK(std::abs(trim->correction.parts[0].moment_to_add) == doctest::Approx(47.53).epsilon(2e-4));
  CHECK(RotorAngle::of(trim->correction.parts[0].moment_to_add).degrees() ==
        doctest::Approx(128.26).epsilon(2e-4));
}

// Field balancing examples of S. S. Rao, Mechanical Vibrations, chapter on balancing of rotating machines
// (readings and answers from memory; the answers are also recomputed from the readings by another route in
// tests/oracle).
#include <doctest/doctest.h>

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

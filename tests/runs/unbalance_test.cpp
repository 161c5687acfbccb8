#include <doctest/doctest.h>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

TEST_CASE("A plane's moment is everything its slots hold, fillers included") {
  Plane plane = slotted_plane("spinner", 4, {500.0});
  plane.filler.moment_g_mm = 100.0;
  CHECK(std::abs(total_moment(plane, {})) < 1e-12);  // equal fillers all round cancel
  FittedWeights fitted;
  fitted.slots[2] = {"w1", 500.0};  // at 90 degrees, in place of the filler
  CHECK(std::abs(total_moment(plane, fitted) - Phasor(0.0, 400.0)) < 1e-9);
  plane.slots->unusable = {4};  // its content is constant and belongs to the rotor
  CHECK(std::abs(total_moment(plane, fitted) - Phasor(0.0, 500.0)) < 1e-9);
}

TEST_CASE("A blade exchanged between runs changes the unbalance from its run on") {
  const Rotor rotor = free_rotor({"fan"}, {"front"});
  Job job = job_of(rotor, {run_of(rotor, "one", {{}}, {}), run_of(rotor, "two", {{}}, {}),
                           run_of(rotor, "three", {{}}, {})});
  job.runs[1].changes.push_back({0, Phasor(30.0, 0.0), "blade 4 exchanged"});
  CHECK(std::abs(run_unbalance(job, 0)[0]) == 0.0);
  CHECK(run_unbalance(job, 1)[0].real() == 30.0);
  CHECK(run_unbalance(job, 2)[0].real() == 30.0);
  CHECK(unbalance_now(job)[0].real() == 30.0);
}

TEST_CASE(
    "Reading the phases in the other convention mirrors what was written, not what it was converted to") {
  Rotor rotor = free_rotor({"fan"}, {"front"}, PhaseConvention::unknown);
  rotor.sensors[0].phase_of = MotionQuantity::velocity;  // amplitude of displacement, phase of velocity
  Rotor as_lead = rotor;
  as_lead.phase = PhaseConvention::lead;
  Rotor as_lag = rotor;
  as_lag.phase = PhaseConvention::lag;
  Job job = job_of(rotor, {run_of(as_lag, "one", {{}}, {{2.0, 50.0}})});
  const Job settled = with_phase_convention(job, PhaseConvention::lead);
  const Phasor expected = *run_of(as_lead, "one", {{}}, {{2.0, 50.0}}).readings[0].x;
  CHECK(std::abs(*settled.runs[0].readings[0].x - expected) < 1e-12);
  CHECK(std::abs(*with_phase_convention(job, PhaseConvention::lag).runs[0].readings[0].x -
                 *job.runs[0].readings[0].x) == 0.0);
}

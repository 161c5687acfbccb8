#include "trimwright/plan/balance_plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

Job slotted_job() {
  Rotor rotor = free_rotor({}, {"A"});
  rotor.mass_kg = 100.0;
  rotor.planes.push_back(slotted_plane("spinner", 8, {100.0, 500.0, 2000.0}));
  const KnownRotor known{{Phasor(0.5, 0.0)}, {{Phasor(1e-3, 0.0)}}};
  FittedWeights trial;
  trial.slots[1] = {"w1", 100.0};
  return job_of(rotor, {known.run(rotor, "baseline", {{}}), known.run(rotor, "trial", {trial})});
}

BalancePlan steps_of(const Job& job) {
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  return plan_steps(job, *model, *trim);
}

bool has(const BalancePlan& plan, StepKind kind) {
  return std::any_of(plan.steps.begin(), plan.steps.end(),
                     [kind](const Step& step) { return step.kind == kind; });
}

}  // namespace

TEST_CASE("A plan makes safe first, checks by a second person and says what to do if it differs") {
  const auto plan = steps_of(slotted_job());
  REQUIRE(!plan.steps.empty());
  CHECK(plan.steps.front().kind == StepKind::make_safe);
  for (const auto kind : {StepKind::confirm_numbering, StepKind::count_fitted, StepKind::take_out,
                          StepKind::put_in, StepKind::second_check, StepKind::torque_and_locking,
                          StepKind::run, StepKind::stop_levels, StepKind::if_it_differs})
    CHECK(has(plan, kind));
  CHECK(plan.cautions.size() >= 3);
}

TEST_CASE("When nothing is worth changing, the plan says so and asks for no run") {
  Job job = slotted_job();
  job.fitted_now[0].slots[5] = {"w2", 500.0};  // cancels
  const auto plan = steps_of(job);
  REQUIRE(plan.steps.size() == 1);
  CHECK(plan.steps[0].kind == StepKind::do_nothing);
}

TEST_CASE("A trial weight pulls at most a tenth of the rotor's weight") {
  // 100 kg weigh 981 N; at 3000 rpm (314.16 rad/s) 98.1 N is 994 g mm, so w2 (500) is taken and w3 (2000)
  // not.
  Job job = slotted_job();
  const auto change = choose_trial(job, {0, std::nullopt, std::nullopt});
  REQUIRE(change);
  CHECK(change->fit->weight_id == "w2");
  job.rotor.mass_kg.reset();
  CHECK_FALSE(choose_trial(job, {0, std::nullopt, std::nullopt}));
  CHECK(choose_trial(job, {0, 3, "w3"})->slot == 3);  // a weight named by the person is taken
  CHECK_FALSE(choose_trial(job, {0, 9, "w3"}));
  CHECK_FALSE(choose_trial(job, {0, 3, "w9"}));
}

TEST_CASE("A trial plan stops at the limits and puts back nothing it did not take") {
  const Job job = slotted_job();
  const auto change = choose_trial(job, {0, 2, "w1"});
  REQUIRE(change);
  const auto plan = trial_steps(job, *change);
  CHECK(plan.kind == BalancePlan::Kind::trial);
  REQUIRE(plan.expected.size() == 1);
  CHECK(plan.expected[0].stop_above == 1.0);
  CHECK_FALSE(plan.expected[0].expected.has_value());
}

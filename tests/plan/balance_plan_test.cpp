#include "trimwright/plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const std::vector<double> moments{100.0, 500.0, 2000.0};

BalancePlan steps_of(const Job& job) {
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  return plan_steps(job, *trim);
}

bool has(const BalancePlan& plan, StepKind kind) {
  return std::any_of(plan.steps.begin(), plan.steps.end(),
                     [kind](const Step& step) { return step.kind == kind; });
}

}  // namespace

TEST_CASE("A plan makes safe first, checks by a second person and says what to do if it differs") {
  const auto plan = steps_of(slotted_job_with_trial(moments));
  REQUIRE(!plan.steps.empty());
  CHECK(plan.steps.front().kind == StepKind::make_safe);
  for (const auto kind : {StepKind::confirm_numbering, StepKind::count_fitted, StepKind::take_out,
                          StepKind::put_in, StepKind::second_check, StepKind::torque_and_locking,
                          StepKind::run, StepKind::stop_levels, StepKind::if_it_differs})
    CHECK(has(plan, kind));
  CHECK(plan.cautions.size() >= 3);
}

TEST_CASE("When nothing is worth changing, the plan says so and asks for no run") {
  Job job = slotted_job_with_trial(moments);
  job.fitted_now[0].slots[5] = {"w2", 500.0};  // cancels
  const auto plan = steps_of(job);
  REQUIRE(plan.steps.size() == 1);
  CHECK(plan.steps[0].kind == StepKind::do_nothing);
}

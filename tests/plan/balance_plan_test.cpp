#include "trimwright/plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"
#include "plan/steps.hpp"

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

TEST_CASE("The run made with a plan's weights is called the check run, with a number where that was made") {
  Job job = slotted_job_with_trial(moments);
  const auto plan = steps_of(job);
  CHECK(next_run_name(job, plan) == "check run");
  job.runs.back().name = "check run";
  CHECK(next_run_name(job, plan) == "check run 2");
  BalancePlan trial = plan;
  trial.kind = BalancePlan::Kind::trial;
  CHECK(next_run_name(job, trial) == "trial spinner");
}

TEST_CASE("What was read last is the once-per-rev reading of the last run in use with what is fitted now") {
  Job job = slotted_job_with_trial(moments);
  add_overall(job.runs.back(), 0.93);
  job.runs.push_back(job.runs.front());
  job.runs.back().name = "gusts";
  job.runs.back().set_aside = "gusts";
  job.runs.back().readings.front().amplitude = 0.97;
  const auto readings = readings_to_take(job, {});
  REQUIRE(readings.size() == 1);
  CHECK(readings[0].last_read.value() == doctest::Approx(0.5));  // as found: the trial weight is out again
  job.fitted_now = job.runs[1].fitted;
  CHECK(readings_to_take(job, {})[0].last_read.value() == doctest::Approx(0.6));  // and 1e-3 of 100 g mm
  job.fitted_now[0].slots[3] = {"w1", 100.0};                                     // no run was made so
  CHECK(readings_to_take(job, {})[0].last_read.value() == doctest::Approx(0.6));
}

TEST_CASE("A plan that changes nothing says how many readings stay above their targets") {
  Job job = slotted_job_with_trial(moments);
  job.rotor.sensors[0].bands = {{10000.0, 1.0, 0.3}};  // 0.5 as found
  job = settled(job);
  const auto model = fit_influence(job);
  REQUIRE(model);
  TrimRequest request;
  request.pieces = 0;
  const auto trim = plan_trim(job, *model, request);
  REQUIRE(trim);
  const auto plan = plan_steps(job, *trim);
  REQUIRE(plan.steps.size() == 1);
  CHECK(plan.steps[0].instruction.find("1 expected reading stays above its target.") != std::string::npos);
}

#include "trimwright/trim.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const std::vector<double> moments{100.0, 200.0};

Result<TrimPlan> choose(const Job& job, const std::vector<FittedWeights>& fitted) {
  const auto model = fit_influence(job);
  REQUIRE(model);
  return plan_choice(job, *model, {}, fitted);
}

}  // namespace

TEST_CASE("A choice of one's own is predicted by the model as it stands") {
  const Job job = slotted_job_with_trial(moments);
  FittedWeights fitted;
  fitted.slots[5] = {"w2", 200.0};  // 180 degrees: 0.5 - 0.2
  const auto plan = choose(job, {fitted});
  REQUIRE(plan);
  REQUIRE(plan->trade_off[plan->chosen].changes.size() == 1);
  CHECK(plan->trade_off[plan->chosen].changes[0].slot == 5);
  CHECK(plan->predictions[0].after.real() == doctest::Approx(0.3));
  CHECK(plan->worst_ratio == doctest::Approx(0.3));
  CHECK(plan->bound <= plan->worst_ratio);
}

TEST_CASE("A choice that is one of the planner's rows is that row, with what was proved of it") {
  const Job job = slotted_job_with_trial(moments);
  const auto model = fit_influence(job);
  const auto plan = plan_trim(job, *model, {});
  REQUIRE(plan);
  const auto again = choose(job, fitted_after(job, plan->trade_off[plan->chosen].changes));
  REQUIRE(again);
  CHECK(again->trade_off.size() == plan->trade_off.size());
  CHECK(again->chosen == plan->chosen);
  CHECK(again->trade_off[again->chosen].proved_optimal);
}

TEST_CASE("A poor choice stands between the planner's rows and its objective is bounded by theirs") {
  const Job job = slotted_job_with_trial(moments);
  FittedWeights fitted;
  fitted.slots[1] = {"w2", 200.0};  // the wrong side: 0.7
  const auto plan = choose(job, {fitted});
  REQUIRE(plan);
  const auto& row = plan->trade_off[plan->chosen];
  CHECK_FALSE(row.recommended);
  CHECK_FALSE(row.proved_optimal);
  CHECK(row.objective == doctest::Approx(0.7));
  CHECK(row.bound < 0.31);
  CHECK(std::is_sorted(plan->trade_off.begin(), plan->trade_off.end(),
                       [](const auto& a, const auto& b) { return a.changes.size() < b.changes.size(); }));
}

TEST_CASE("A choice beyond a plane's moment limits is refused") {
  Job job = slotted_job_with_trial(moments);
  job.rotor.planes[0].max_added_moment_g_mm = 150.0;
  FittedWeights fitted;
  fitted.slots[5] = {"w2", 200.0};
  CHECK_FALSE(choose(job, {fitted}));
  fitted.slots[5] = {"w1", 100.0};
  CHECK(choose(job, {fitted}));
  job.rotor.planes[0].max_total_moment_g_mm = 50.0;
  CHECK_FALSE(choose(job, {fitted}));
}

TEST_CASE("A choice that breaks a rule of its plane is refused, and the rule is named") {
  Job job = slotted_job_with_trial(moments);
  Plane& plane = job.rotor.planes[0];
  FittedWeights fitted;
  fitted.slots[4] = {"w1", 100.0};
  fitted.slots[5] = {"w2", 200.0};
  std::string named;
  SUBCASE("none") {}
  SUBCASE("pieces") { plane.rules.max_pieces = 1, named = "at most 1"; }
  SUBCASE("apart") { plane.rules.apart = {{5, 4}}, named = "not both"; }
  SUBCASE("together") { plane.rules.together = {{5, 6}}, named = "or neither"; }
  SUBCASE("alike") { plane.rules.alike = {{4, 5}}, named = "the same"; }
  SUBCASE("only in") { plane.weights[1].only_in = {{1, 2}}, named = "only_in"; }
  SUBCASE("moment of a slot") { plane.rules.max_slot_moment_g_mm = 150.0, named = "max_slot_moment"; }
  SUBCASE("stock") { plane.weights[0].stock = 0, named = "at most 0, the stock"; }
  SUBCASE("mass") {
    plane.weights[0].mass_g = plane.weights[1].mass_g = 3.0;
    plane.rules.max_mass_g = 5.0, named = "at most 5 g";
  }
  const auto plan = choose(job, {fitted});
  CHECK(plan.has_value() == named.empty());
  if (!plan) CHECK(plan.error().message().find(named) != std::string::npos);
}

TEST_CASE("A choice keeps what the job asks: so many pieces, and fitted weights that stay") {
  Job job = slotted_job_with_trial(moments);
  job.fitted_now[0].slots[2] = {"w1", 100.0};
  FittedWeights fitted;
  fitted.slots[5] = {"w2", 200.0};
  fitted.slots[4] = {"w1", 100.0};
  const auto model = fit_influence(job);
  REQUIRE(model);
  TrimRequest request;
  CHECK(plan_choice(job, *model, request, {fitted}));
  request.max_pieces = 1;
  const auto too_many = plan_choice(job, *model, request, {fitted});
  REQUIRE_FALSE(too_many);
  CHECK(too_many.error().message().find("at most 1") != std::string::npos);
  request.max_pieces.reset();
  request.keep_fitted = true;
  const auto taken_out = plan_choice(job, *model, request, {fitted});
  REQUIRE_FALSE(taken_out);
  CHECK(taken_out.error().message().find("slot 2") != std::string::npos);
  fitted.slots[2] = {"w1", 100.0};
  CHECK(plan_choice(job, *model, request, {fitted}));
}

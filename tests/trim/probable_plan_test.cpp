#include <doctest/doctest.h>

#include <algorithm>

#include "forecast/outlook.hpp"
#include "some.hpp"
#include "trim/probable_bound.hpp"
#include "trimwright/forecast.hpp"
#include "trimwright/trim.hpp"
#include "virtual_fleet.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// A rotor of the fleet after a baseline and a trial in each plane, with ten slots and two weights in each.
SettledModel small_catalogue(std::uint64_t seed, double weight_worth) {
  const VirtualFleet fleet;
  FleetDraws draws(seed);
  const FleetRotor rotor = fleet.draw({0.15, 0.08}, {}, draws);
  std::vector<Run> runs;
  for (int r = 0; r < 3; ++r) {
    Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
    if (r > 0) u(r - 1) = fleet.moment_worth(0.5, r - 1);
    runs.push_back(fleet.run(rotor, std::to_string(r), u, {}, draws));
  }
  Job job = fleet.job(runs);
  for (std::size_t p = 0; p < 2; ++p) {
    const double step = fleet.moment_worth(weight_worth, static_cast<int>(p));
    job.rotor.planes[p] = slotted_plane(job.rotor.planes[p].name, 10, {step, 1.7 * step});
    job.rotor.planes[p].slot_tolerance_deg = 3.0;
    job.rotor.planes[p].weight_tolerance = 0.03;
  }
  job.fitted_now = runs.front().fitted;
  auto settled = settle_and_fit(job);
  REQUIRE(settled);
  return std::move(*settled);
}

TrimPlan planned(const SettledModel& settled, bool most_probable, int changes) {
  TrimRequest request;
  request.max_changes = changes;
  request.most_probable = most_probable;
  auto plan = plan_trim(settled.job, settled.model, request);
  REQUIRE(plan);
  return std::move(*plan);
}

double chance(const SettledModel& settled, const std::vector<SlotChange>& changes) {
  return next_run_outlook(settled.job, *settled.model.belief, fitted_after(settled.job, changes))
      .meets_targets;
}

/// The largest probability with at most `most` changes, every choice tried.
double best_of_all(const SettledModel& settled, std::vector<SlotChange>& changes, std::size_t from,
                   std::size_t most) {
  double best = chance(settled, changes);
  if (changes.size() == most) return best;
  for (std::size_t place = from; place < 20; ++place)
    for (const auto& weight : settled.job.rotor.planes[place / 10].weights) {
      changes.push_back(
          {place / 10, static_cast<int>(place % 10) + 1, std::nullopt, Piece{weight.id, weight.moment_g_mm}});
      best = std::max(best, best_of_all(settled, changes, place + 1, most));
      changes.pop_back();
    }
  return best;
}

double best_row(const TrimPlan& plan) {
  double best = 0.0;
  for (const auto& row : plan.trade_off) best = std::max(best, row.outlook->meets_targets);
  return best;
}

}  // namespace

TEST_CASE("The objective by probability finds what trying every pair of changes finds") {
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    const auto settled = small_catalogue(seed, 0.6);
    std::vector<SlotChange> none;
    const double best = best_of_all(settled, none, 0, 2);
    CAPTURE(seed);
    CAPTURE(best);
    CHECK(best_row(planned(settled, true, 2)) >= best - 0.01);
  }
}

TEST_CASE("No choice by probability passes the bound, which is near what moments of every size reach") {
  for (std::uint64_t seed = 1; seed <= 4; ++seed) {
    auto settled = small_catalogue(seed, 0.6);
    for (auto& plane : settled.job.rotor.planes) plane.slot_tolerance_deg = plane.weight_tolerance = 0.0;
    const auto plan = planned(settled, true, 2);
    std::vector<SlotChange> none;
    const double best = best_of_all(settled, none, 0, 2);
    CAPTURE(seed);
    for (const auto& row : some(plan.trade_off)) {
      CHECK(1.0 - row.bound >= best);
      CHECK(row.bound <= row.objective);
    }
    CHECK(plan.notes.back().find("No choice with up to 2 changes") != std::string::npos);
  }
}

TEST_CASE("The bound on the chance holds wherever it ends, and closes in on the best moments") {
  const auto settled = small_catalogue(3, 0.6);
  const InfluencePosterior& belief = *settled.model.belief;
  const RowLevels levels = row_levels(settled.job, belief);
  const Eigen::Vector2cd now = Eigen::Vector2cd::Zero();
  const VirtualFleet fleet;
  const Eigen::Vector2d reach(fleet.moment_worth(2.0, 0), fleet.moment_worth(2.0, 1));
  const auto told = most_probable(belief, now, {0, 1}, levels.target, reach, 0.0, Deadline::never());
  const auto at_once = most_probable(belief, now, {0, 1}, levels.target, reach, 0.0, Deadline::after(0.0));
  REQUIRE(told);
  CHECK(told->found > 0.0);
  CHECK(told->bound >= told->found);
  CHECK(told->bound <= told->found + 0.02);
  CHECK(at_once->bound >= told->bound);
  FleetDraws draws(5);
  for (int i = 0; i < 200; ++i) {
    Eigen::Vector2cd u;
    for (int p = 0; p < 2; ++p) u(p) = 0.5 * reach(p) * draws.complex(1.0);
    CHECK(outlook_of(belief, u, {}, levels).meets_targets <= told->bound);
  }
}

TEST_CASE("Chosen by probability, no number of changes does worse than chosen by worst ratio") {
  double gained = 0.0;
  for (std::uint64_t seed = 11; seed <= 18; ++seed) {
    const auto settled = small_catalogue(seed, 0.35);
    const auto by_ratio = planned(settled, false, 4), by_chance = planned(settled, true, 4);
    CHECK(best_row(by_chance) >= best_row(by_ratio));
    gained += best_row(by_chance) - best_row(by_ratio);
    CHECK(std::is_sorted(
        by_chance.trade_off.begin(), by_chance.trade_off.end(),
        [](const auto& a, const auto& b) { return a.outlook->meets_targets < b.outlook->meets_targets; }));
  }
  CHECK(gained > 0.0);
}

TEST_CASE("Fewer changes are preferred where the probability is as good within the indifference") {
  const auto plan = planned(small_catalogue(12, 0.35), true, 4);
  const auto& chosen = plan.trade_off[plan.chosen];
  CHECK(chosen.outlook->meets_targets >= best_row(plan) - probability_indifference);
  REQUIRE(plan.chosen > 0);
  for (std::size_t i = 0; i < plan.chosen; ++i)
    CHECK(plan.trade_off[i].outlook->meets_targets < best_row(plan) - probability_indifference);
}

TEST_CASE("A choice of one's own has the same probabilities as the plan that is the same") {
  const auto settled = small_catalogue(13, 0.35);
  const auto plan = planned(settled, false, 3);
  TrimRequest request;
  request.max_changes = 3;
  const auto own = plan_choice(settled.job, settled.model, request,
                               fitted_after(settled.job, plan.trade_off[plan.chosen].changes));
  REQUIRE(own);
  REQUIRE(own->outlook);
  CHECK(own->outlook->meets_targets == plan.outlook->meets_targets);
  REQUIRE_FALSE(plan.predictions.empty());
  REQUIRE(own->predictions.size() == plan.predictions.size());
  for (std::size_t i = 0; i < plan.predictions.size(); ++i)
    CHECK(own->predictions[i].reading->high == plan.predictions[i].reading->high);
  // Nothing fitted: the readings as found, far above their targets.
  const auto nothing = plan_choice(settled.job, settled.model, request, settled.job.fitted_now);
  REQUIRE(nothing);
  CHECK(nothing->outlook->meets_targets < 0.01);
}

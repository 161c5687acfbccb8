#include "trimwright/trim.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "influence/plane_moments.hpp"
#include "trim_rows.hpp"

namespace trimwright {
namespace {

/// Of every plane of the rotor [g mm].
std::vector<std::complex<double>> added_moments(const Job& job, const std::vector<SlotChange>& changes) {
  std::vector<std::complex<double>> added(job.rotor.planes.size());
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    added[change.plane] +=
        slot_moment(plane, change.slot, change.fit) - slot_moment(plane, change.slot, change.remove);
  }
  return added;
}

bool same_changes(const std::vector<SlotChange>& a, const std::vector<SlotChange>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const SlotChange& x, const SlotChange& y) {
    return x.plane == y.plane && x.slot == y.slot && x.fit == y.fit;
  });
}

/// The choice as a row beside the planner's; what was proved of as many changes bounds it, too, unless it is
/// better for using what the planner may not.
TradeOffRow choice_row(const TrimPlan& plan, const TrimRows& rows, std::vector<SlotChange> changes,
                       const Eigen::VectorXcd& added) {
  TradeOffRow row = row_with(rows, added, std::move(changes));
  const auto scaled = scaled_rows(rows, plan.request.penalty);
  const Eigen::VectorXd sizes = (scaled.residual + scaled.response * added).cwiseAbs();
  row.objective = plan.request.objective == SlotObjective::worst_ratio ? sizes.maxCoeff() : sizes.norm();
  for (const auto& other : plan.trade_off)
    if (other.changes.size() <= row.changes.size()) row.bound = std::min(other.bound, row.objective);
  return row;
}

/// Makes the choice the chosen row of the trade-off, which may hold it already.
void choose(TrimPlan& plan, TradeOffRow row) {
  auto& table = plan.trade_off;
  const auto same = std::find_if(table.begin(), table.end(), [&](const TradeOffRow& other) {
    return same_changes(other.changes, row.changes);
  });
  const auto after = std::find_if(table.begin(), table.end(), [&](const TradeOffRow& other) {
    return other.changes.size() > row.changes.size();
  });
  plan.chosen = static_cast<std::size_t>((same != table.end() ? same : after) - table.begin());
  if (same == table.end()) table.insert(after, std::move(row));
}

/// What the choice itself lets one expect.
void predict_choice(const Job& job, const InfluenceModel& model, const std::vector<FittedWeights>& fitted,
                    TrimPlan& plan) {
  add_forecast(plan, forecast(job, model, fitted));
  if (!plan.outlook) return;
  TradeOffRow& row = plan.trade_off[plan.chosen];
  row.outlook = plan.outlook;
  if (!plan.request.most_probable) return;
  row.objective = 1.0 - plan.outlook->meets_targets;
  row.bound = 0.0;
}

std::string choice_note(const TrimPlan& plan) {
  const auto& row = plan.trade_off[plan.chosen];
  if (row.recommended) return "These weights are your own choice; it is the one recommended.";
  const auto recommended =
      std::find_if(plan.trade_off.begin(), plan.trade_off.end(), [](const auto& r) { return r.recommended; });
  return fmt::format(
      "These weights are your own choice (largest amplitude over limit {:.3f}). Recommended is another: {} "
      "changed, "
      "{:.3f}.",
      row.worst_ratio, counted(recommended->changes.size(), "slot"), recommended->worst_ratio);
}

}  // namespace

std::vector<SlotChange> changes_between(const Rotor& rotor, const std::vector<FittedWeights>& before,
                                        const std::vector<FittedWeights>& now) {
  std::vector<SlotChange> changes;
  for (std::size_t p = 0; p < rotor.planes.size(); ++p) {
    const Plane& plane = rotor.planes[p];
    for (int slot = 1; plane.slots && slot <= plane.slots->count; ++slot) {
      const auto remove = held(before[p], slot);
      const auto fit = held(now[p], slot);
      if (remove != fit) changes.push_back({p, slot, remove, fit});
    }
  }
  return changes;
}

Result<TrimPlan> plan_choice(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                             const std::vector<FittedWeights>& fitted, const Deadline& deadline) {
  auto changes = changes_between(job.rotor, job.fitted_now, fitted);
  const auto moments = added_moments(job, changes);
  for (const auto& change : changes)
    if (std::find(model.planes.begin(), model.planes.end(), change.plane) == model.planes.end())
      return fail("the choice changes plane \"" + job.rotor.planes[change.plane].name +
                      "\", whose influence coefficients are not known",
                  "a run that changes its weights, or a choice that leaves it as it is");
  FittingLimits limits{request.keep_fitted, {}, {}};
  if (auto kept = check_fitting(job.rotor, limits, job.fitted_now, fitted); !kept)
    return tl::unexpected(kept.error());
  auto rows = trim_rows(job, model, request, model.planes);
  if (!rows) return tl::unexpected(rows.error());
  auto plan = plan_trim(job, model, request, deadline);
  if (!plan) return plan;
  if (!plan->has_slots()) return fail("the trim uses planes without slots", "planes with slots");
  limits = {request.keep_fitted, request.max_pieces, plan->planes};
  for (const auto& change : changes) limits.planes.push_back(change.plane);
  if (auto kept = check_fitting(job.rotor, limits, job.fitted_now, fitted); !kept)
    return tl::unexpected(kept.error());

  const Eigen::VectorXcd added = of_planes(moments, model.planes);
  plan->request.pieces = static_cast<int>(changes.size());
  choose(*plan, choice_row(*plan, *rows, std::move(changes), added));
  predict_choice(job, model, fitted, *plan);
  plan->worst_ratio = plan->trade_off[plan->chosen].worst_ratio;
  plan->bound = std::min(plan->bound, plan->worst_ratio);
  plan->notes.push_back(choice_note(*plan));
  return plan;
}

}  // namespace trimwright

#include "opposed_pair.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "trade_off.hpp"

namespace trimwright {
namespace {

/// Choices looked at beside the one that has such a pair.
constexpr int most_others = 4;

double moment_fitted(const std::vector<SlotChange>& changes) {
  double sum = 0.0;
  for (const auto& change : changes)
    sum += (change.fit ? change.fit->moment_g_mm : 0.0) - (change.remove ? change.remove->moment_g_mm : 0.0);
  return sum;
}

bool does_as_well(const TradeOffRow& one, const TradeOffRow& row) {
  if (one.meets_limits < row.meets_limits || one.meets_targets < row.meets_targets ||
      one.worst_ratio > row.worst_ratio + ratio_indifference)
    return false;
  return !row.outlook ||
         (one.outlook->meets_targets >= row.outlook->meets_targets - probability_indifference &&
          one.outlook->meets_limits >= row.outlook->meets_limits - probability_indifference);
}

}  // namespace

std::string opposed_pair(const Job& job, const std::vector<SlotChange>& changes) {
  const auto then = fitted_after(job, changes);
  for (const auto& change : changes) {
    if (!change.fit) continue;
    const Plane& plane = job.rotor.planes[change.plane];
    for (const auto& [slot, piece] : then[change.plane].slots) {
      const double apart = plane.slots->angle(slot).degrees() - plane.slots->angle(change.slot).degrees();
      if (slot != change.slot && std::abs(std::remainder(apart, 360.0)) >= opposed_deg)
        return fmt::format("{} in slot {} and {} in slot {} of {}", change.fit->weight_id, change.slot,
                           piece_words(piece, "the "), slot, plane.name);
    }
  }
  return {};
}

std::optional<TradeOffRow> without_opposed_pair(const Job& job, const InfluenceModel& model,
                                                const TradeOffRow& row,
                                                const std::vector<SlotChoice>& choices,
                                                const SlotCatalogue& catalogue, const TrimRows& rows,
                                                const Deadline& deadline) {
  if (opposed_pair(job, row.changes).empty() || choices.size() <= row.changes.size()) return std::nullopt;
  SlotProblem problem = catalogue.problem();
  problem.max_changes = static_cast<int>(row.changes.size());
  problem.least_difference = 1;
  problem.taken.push_back(choices[row.changes.size()].changes);
  std::optional<TradeOffRow> best;
  for (int i = 0; i < most_others && deadline.seconds_left() > 0.0; ++i) {
    const SlotChoice next =
        search_slots(problem, {0.0, 0.0, deadline.after_share(1.0 / (most_others - i + 1))}).back();
    if (!next.admissible) break;
    problem.taken.push_back(next.changes);
    TradeOffRow one = row_of(catalogue, next, rows);
    one.outlook = forecast(job, model, fitted_after(job, one.changes)).outlook;
    if (!opposed_pair(job, one.changes).empty() || !does_as_well(one, row)) continue;
    if (!best || moment_fitted(one.changes) < moment_fitted(best->changes)) best = std::move(one);
  }
  if (best) best->without_opposed = true;
  return best;
}

}  // namespace trimwright

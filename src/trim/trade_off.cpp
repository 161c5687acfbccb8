#include "trade_off.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <numeric>
#include <tuple>

#include "probable_choice.hpp"
#include "trimwright/base/text.hpp"

namespace trimwright {
namespace {

/// The row of smallest worst ratio among those of a rank (weighted objectives may put another first).
template <class Rank>
std::size_t best_of_rank(const std::vector<TradeOffRow>& rows, int wanted, Rank rank) {
  std::size_t best = rows.size();
  for (std::size_t i = 0; i < rows.size(); ++i)
    if (rank(rows[i]) == wanted && (best == rows.size() || rows[i].worst_ratio < rows[best].worst_ratio))
      best = i;
  return best;
}

TradeOffRow row_of(const SlotCatalogue& catalogue, const SlotChoice& choice, const TrimRows& rows) {
  TradeOffRow row;
  row.changes = catalogue.changes(choice);
  const Eigen::VectorXcd added = catalogue.added_moment(choice);
  const Eigen::VectorXd amplitudes = (rows.now + rows.response * added).cwiseAbs();
  row.worst_ratio = amplitudes.cwiseQuotient(rows.limit).maxCoeff();
  row.meets_limits = (amplitudes.array() <= rows.limit.array()).all();
  row.meets_targets = (amplitudes.array() <= rows.target.array()).all();
  row.root_of_squares = (catalogue.problem().residual + catalogue.problem().response * added).norm();
  row.objective = choice.objective;
  row.bound = choice.bound;
  row.proved_optimal = choice.proved_optimal;
  return row;
}

/// As `row_of`, judged by the probability of the next run.
TradeOffRow probable_row(const Job& job, const InfluenceModel& model, const TrimRows& rows,
                         const SlotCatalogue& catalogue, const SlotChoice& choice) {
  TradeOffRow row = row_of(catalogue, choice, rows);
  row.outlook = next_run_outlook(job, *model.belief, fitted_after(job, row.changes));
  row.objective = 1.0 - row.outlook->meets_targets;
  row.bound = 0.0;
  row.proved_optimal = false;
  return row;
}

std::string counts_of(const std::vector<TradeOffRow>& table) {
  std::string counts;
  for (const auto& row : table) counts += (counts.empty() ? "" : ", ") + std::to_string(row.changes.size());
  return counts;
}

}  // namespace

std::optional<std::size_t> likely_row(const std::vector<TradeOffRow>& rows) {
  const auto first_near_best = [&](auto probability) -> std::optional<std::size_t> {
    double best = 0.0;
    for (const auto& row : rows) best = std::max(best, probability(*row.outlook));
    if (best < 0.01) return std::nullopt;
    for (std::size_t i = 0; i < rows.size(); ++i)
      if (probability(*rows[i].outlook) >= best - probability_indifference) return i;
    return std::nullopt;
  };
  if (!std::all_of(rows.begin(), rows.end(), [](const auto& row) { return row.outlook.has_value(); }))
    return std::nullopt;
  if (const auto row = first_near_best([](const Outlook& one) { return one.meets_targets; })) return row;
  return first_near_best([](const Outlook& one) { return one.meets_limits; });
}

std::size_t recommended_row(const std::vector<TradeOffRow>& rows, double sd_of_best) {
  const auto by_ratio = [](const TradeOffRow& a, const TradeOffRow& b) {
    return a.worst_ratio < b.worst_ratio;
  };
  const double best = std::min_element(rows.begin(), rows.end(), by_ratio)->worst_ratio;
  const double enough = best + std::max(ratio_indifference, sd_of_best);
  const auto rank = [](const TradeOffRow& row) { return row.meets_targets ? 2 : row.meets_limits ? 1 : 0; };
  int best_rank = 0;
  for (const auto& row : rows) best_rank = std::max(best_rank, rank(row));
  const auto first = std::find_if(rows.begin(), rows.end(), [&](const TradeOffRow& row) {
    return row.worst_ratio <= enough + 1e-12 && rank(row) == best_rank;
  });
  if (first == rows.end()) return best_of_rank(rows, best_rank, rank);
  return static_cast<std::size_t>(first - rows.begin());
}

std::vector<TradeOffRow> trade_off_rows(const SlotCatalogue& catalogue,
                                        const std::vector<SlotChoice>& choices, const TrimRows& rows) {
  std::vector<TradeOffRow> table;
  for (std::size_t m = 0; m < choices.size(); ++m) {
    const auto& choice = choices[m];
    if (!choice.admissible) continue;
    const bool gains = choice.changes.size() == m || table.empty();
    if (gains) {
      table.push_back(row_of(catalogue, choice, rows));
      continue;
    }
    // No better with more changes: what was proved of more is proved of fewer.
    table.back().bound = std::max(table.back().bound, std::min(choice.bound, table.back().objective));
    table.back().proved_optimal = table.back().proved_optimal || choice.proved_optimal;
  }
  return table;
}

std::vector<TradeOffRow> alternatives_to(const TradeOffRow& chosen, const std::vector<SlotChoice>& choices,
                                         const SlotCatalogue& catalogue, const TrimRequest& request,
                                         const TrimRows& rows) {
  std::vector<TradeOffRow> plans{chosen};
  SlotProblem problem = catalogue.problem();
  problem.max_changes = static_cast<int>(chosen.changes.size());
  problem.least_difference = request.least_difference;
  problem.taken.push_back(choices[chosen.changes.size()].changes);
  while (static_cast<int>(plans.size()) < request.best) {
    const SlotChoice next = search_slots(problem, {0.0, 0.0, request.time_limit_s}).back();
    if (!next.admissible) break;
    plans.push_back(row_of(catalogue, next, rows));
    problem.taken.push_back(next.changes);
  }
  return plans;
}

std::vector<TradeOffRow> trade_off_of_other(const Job& job, TrimRequest request, const TrimRows& rows) {
  const bool squares = request.objective == SlotObjective::least_squares;
  request.objective = squares ? SlotObjective::worst_ratio : SlotObjective::least_squares;
  const SlotCatalogue catalogue(job, request, rows);
  return trade_off_rows(catalogue, search_slots(catalogue.problem(), {0.0, 0.0, request.time_limit_s}), rows);
}

std::vector<TradeOffRow> probable_rows(const Job& job, const InfluenceModel& model, const TrimRows& rows,
                                       const SlotCatalogue& catalogue, const std::vector<SlotChoice>& choices,
                                       const Eigen::VectorXcd& moments, double time_limit_s) {
  auto candidates = choices_near(job, *model.belief, rows, catalogue, moments, time_limit_s);
  std::copy_if(choices.begin(), choices.end(), std::back_inserter(candidates),
               [](const SlotChoice& one) { return one.admissible; });
  std::vector<TradeOffRow> judged;
  for (const auto& choice : candidates) judged.push_back(probable_row(job, model, rows, catalogue, choice));
  const auto worth = [](const TradeOffRow& row) {
    return std::tuple(row.outlook->meets_targets, row.outlook->meets_limits, -row.worst_ratio);
  };
  std::vector<std::size_t> order(judged.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return std::pair(judged[b].changes.size(), worth(judged[a])) >
           std::pair(judged[a].changes.size(), worth(judged[b]));
  });
  std::vector<TradeOffRow> table;
  for (const std::size_t i : order)
    if (table.empty() || worth(judged[i]) > worth(table.back())) table.push_back(judged[i]);
  return table;
}

Result<std::size_t> chosen_row(const TrimPlan& plan) {
  const auto& table = plan.trade_off;
  const auto wanted = [&](const TradeOffRow& row) {
    return plan.request.pieces ? static_cast<int>(row.changes.size()) == *plan.request.pieces
                               : row.recommended;
  };
  const auto found = std::find_if(table.begin(), table.end(), wanted);
  if (found == table.end())
    return fail(
        "the trade-off has no row with " +
            counted(static_cast<std::size_t>(std::max(0, *plan.request.pieces)), "slot") + " changed",
        "one of its rows (" + counts_of(table) + "): another number gains nothing, or is not allowed");
  return static_cast<std::size_t>(found - table.begin());
}

}  // namespace trimwright

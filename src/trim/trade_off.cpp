#include "trade_off.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <tuple>

#include "base/text.hpp"
#include "forecast/outlook.hpp"
#include "probable_choice.hpp"
#include "time_words.hpp"

namespace trimwright {
TradeOffRow row_of(const SlotCatalogue& catalogue, const SlotChoice& choice, const TrimRows& rows) {
  const Eigen::VectorXcd added = catalogue.added_moment(choice);
  TradeOffRow row = row_with(rows, added, catalogue.changes(choice));
  row.root_of_squares = (catalogue.problem().residual + catalogue.problem().response * added).norm();
  row.objective = choice.objective;
  row.bound = choice.bound;
  row.proved_optimal = choice.proved_optimal;
  return row;
}

namespace {

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
                                         const TrimRows& rows, Deadline deadline,
                                         std::vector<std::string>& notes) {
  std::vector<TradeOffRow> plans{chosen};
  SlotProblem problem = catalogue.problem();
  problem.max_changes = static_cast<int>(chosen.changes.size());
  problem.least_difference = request.least_difference;
  problem.taken.push_back(choices[chosen.changes.size()].changes);
  while (static_cast<int>(plans.size()) < request.best) {
    const double wanted = request.best - static_cast<double>(plans.size());
    const SlotChoice next = search_slots(problem, {0.0, 0.0, deadline.after_share(1.0 / wanted)}).back();
    if (!next.admissible && !std::isinf(next.bound))
      notes.push_back(fmt::format("{} for further plans: {} of {} were found. {}", what_ended(request),
                                  plans.size(), request.best, run_again(request)));
    if (!next.admissible) break;
    plans.push_back(row_of(catalogue, next, rows));
    problem.taken.push_back(next.changes);
  }
  return plans;
}

std::vector<TradeOffRow> trade_off_of_other(const Job& job, TrimRequest request, const TrimRows& rows,
                                            const Deadline& deadline, std::vector<std::string>& notes) {
  const bool squares = request.objective == SlotObjective::least_squares;
  request.objective = squares ? SlotObjective::worst_ratio : SlotObjective::least_squares;
  const SlotCatalogue catalogue(job, request, rows);
  const auto choices = search_slots(catalogue.problem(), {0.0, 0.0, deadline});
  if (std::any_of(choices.begin(), choices.end(),
                  [](const SlotChoice& one) { return one.stopped == SlotChoice::Stopped::time_limit; }))
    notes.push_back(what_ended(request) + " for the other objective: better rows than shown may exist. " +
                    run_again(request));
  return trade_off_rows(catalogue, choices, rows);
}

std::vector<TradeOffRow> probable_rows(const Job& job, const InfluenceModel& model, const TrimRows& rows,
                                       const SlotCatalogue& catalogue, const std::vector<SlotChoice>& choices,
                                       const Eigen::VectorXcd& moments, const Deadline& deadline) {
  auto candidates = choices_near(job, *model.belief, rows, catalogue, moments, deadline);
  const std::size_t near = candidates.size();
  std::copy_if(choices.begin(), choices.end(), std::back_inserter(candidates),
               [](const SlotChoice& one) { return one.admissible; });
  const auto worth = [](const TradeOffRow& row) {
    return std::tuple(row.outlook->meets_targets, row.outlook->meets_limits, -row.worst_ratio);
  };
  // Fewest changes first, of as many the one worth most.
  std::multimap<std::tuple<std::size_t, double, double, double>, TradeOffRow> judged;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    if (i < near && deadline.seconds_left() <= 0.0) continue;
    TradeOffRow row = probable_row(job, model, rows, catalogue, candidates[i]);
    const auto [targets, limits, ratio] = worth(row);
    judged.emplace(std::tuple(row.changes.size(), -targets, -limits, -ratio), std::move(row));
  }
  std::vector<TradeOffRow> table;
  for (auto& entry : judged)
    if (table.empty() || worth(entry.second) > worth(table.back())) table.push_back(std::move(entry.second));
  return table;
}

void add_likelier_rows(std::vector<TradeOffRow>& table, const std::vector<TradeOffRow>& probable) {
  for (const auto& row : probable) {
    double most = 0.0;  // with at most as many changes
    auto after = table.begin();
    for (; after != table.end() && after->changes.size() <= row.changes.size(); ++after)
      most = std::max(most, after->outlook->meets_targets);
    if (row.outlook->meets_targets <= most + probability_indifference) continue;
    after = table.insert(after, row);
    after->by_chance = true;
    after->objective = after->worst_ratio;
    if (after != table.begin()) after->bound = std::min(std::prev(after)->bound, after->objective);
  }
}

Result<std::size_t> chosen_row(const TrimPlan& plan) {
  const auto& table = plan.trade_off;
  const auto wanted = [&](const TradeOffRow& row) {
    return plan.request.pieces ? static_cast<int>(row.changes.size()) == *plan.request.pieces
                               : row.recommended;
  };
  auto found = std::find_if(table.begin(), table.end(), wanted);
  while (found != table.end() && found + 1 != table.end() && !found->recommended && wanted(*(found + 1)))
    ++found;  // of as many changes the likelier
  if (found == table.end())
    return fail(
        "the trade-off has no row with " +
            counted(static_cast<std::size_t>(std::max(0, *plan.request.pieces)), "slot") + " changed",
        "one of its rows (" + counts_of(table) + "): another number gains nothing, or is not allowed");
  return static_cast<std::size_t>(found - table.begin());
}

}  // namespace trimwright

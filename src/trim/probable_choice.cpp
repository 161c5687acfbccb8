#include "probable_choice.hpp"

#include <cmath>

#include "forecast/outlook.hpp"
#include "probable_moments.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

constexpr int choices_a_number = 4;       // of changes
constexpr double least_chance = 0.02;     // of a row: all count a little
constexpr double shortest_search = 0.05;  // [s]

/// Total moments of all planes of the belief with `added` in those of `rows`.
Eigen::VectorXcd totals(const TrimRows& rows, const Eigen::VectorXcd& added) {
  Eigen::VectorXcd total = rows.unbalance_now;
  for (std::size_t p = 0; p < rows.entries.size(); ++p)
    total(static_cast<Index>(rows.entries[p])) += added(static_cast<Index>(p));
  return total;
}

/// Chance that each reading alone misses its target with `added`.
Eigen::VectorXd misses(const Job& job, const InfluencePosterior& belief, const TrimRows& rows,
                       const Eigen::VectorXcd& added) {
  const auto outlook = outlook_of(belief, totals(rows, added), {}, row_levels(job, belief));
  Eigen::VectorXd chance(static_cast<Index>(outlook.readings.size()));
  for (Index i = 0; i < chance.size(); ++i)
    chance(i) = 1.0 - outlook.readings[static_cast<std::size_t>(i)].below_target;
  return chance;
}

/// The closest-point problem around `moments`.
SlotProblem problem_around(const Job& job, const InfluencePosterior& belief, const TrimRows& rows,
                           const SlotCatalogue& catalogue, const Eigen::VectorXcd& moments) {
  const Eigen::VectorXd weight = (misses(job, belief, rows, moments).array() + least_chance)
                                     .sqrt()
                                     .matrix()
                                     .cwiseQuotient(row_levels(job, belief).target);
  SlotProblem problem = catalogue.problem();
  problem.objective = SlotObjective::least_squares;
  problem.response.resize(weight.size(), moments.size());
  for (Index i = 0; i < weight.size(); ++i)
    for (Index p = 0; p < moments.size(); ++p)
      problem.response(i, p) =
          weight(i) * belief.unknowns.at(belief.entry(static_cast<std::size_t>(i),
                                                      1 + rows.entries[static_cast<std::size_t>(p)]));
  problem.residual = -problem.response * moments;
  return problem;
}

}  // namespace

Eigen::VectorXcd probable_moments(const Job& job, const InfluencePosterior& belief, const TrimRows& rows,
                                  const Eigen::VectorXcd& start, const Deadline& deadline) {
  return most_probable_moments(belief, rows.unbalance_now, rows.entries, row_levels(job, belief), start,
                               deadline);
}

std::vector<SlotChoice> choices_near(const Job& job, const InfluencePosterior& belief, const TrimRows& rows,
                                     const SlotCatalogue& catalogue, const Eigen::VectorXcd& moments,
                                     const Deadline& deadline) {
  SlotProblem problem = problem_around(job, belief, rows, catalogue, moments);
  const int most = problem.max_changes;
  std::vector<SlotChoice> nearest = search_slots(problem, {0.0, 0.0, deadline.after_share(0.5)});
  std::vector<SlotChoice> choices = nearest;
  for (int changes = 1; changes <= most; ++changes) {
    const auto& first = nearest[static_cast<std::size_t>(changes)];
    if (!first.admissible || static_cast<int>(first.changes.size()) < changes) continue;
    problem.max_changes = changes;
    problem.taken = {first.changes};
    problem.least_difference = 1;
    while (static_cast<int>(problem.taken.size()) < choices_a_number &&
           deadline.seconds_left() > shortest_search) {
      const SlotChoice next = search_slots(problem, {0.0, 0.0, deadline}).back();
      if (!next.admissible) break;
      choices.push_back(next);
      problem.taken.push_back(next.changes);
    }
  }
  std::erase_if(choices, [](const SlotChoice& one) { return !one.admissible; });
  return choices;
}

}  // namespace trimwright

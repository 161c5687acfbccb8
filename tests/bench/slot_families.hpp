#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <complex>
#include <ctime>
#include <numbers>
#include <random>
#include <string>

#include "trimwright/slot_search.hpp"

namespace trimwright::bench {

/// Processor time of this process: what other work on the machine takes does not count.
inline Deadline::Clock::time_point processor_now() {
  const double used_s = static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
  return Deadline::Clock::time_point(
      std::chrono::duration_cast<Deadline::Clock::duration>(std::chrono::duration<double>(used_s)));
}
inline Deadline processor_limit(double seconds) { return Deadline::after(seconds, processor_now); }

/// A rule that the problem's own best choice would break.
enum class EdgeRule { none, pieces, pieces_of_plane, mass, moment, neighbours, alike };

struct Family {
  int planes = 1;
  int slots = 36;
  int weights = 6;
  int rows = 12;
  int max_changes = 8;
  bool fitted = false;  ///< a quarter of the slots hold a weight; fillers with mass
  bool stock = false;   ///< 0..3 of each weight
  SlotObjective objective = SlotObjective::worst_ratio;
  EdgeRule rule = EdgeRule::none;

  [[nodiscard]] std::string name() const {
    constexpr const char* kRules[] = {"",       " pieces", " pieces of a plane", " mass", " moment",
                                      " apart", " alike"};
    return fmt::format("{} p{} s{} w{} n{} m{}{}{}{}",
                       objective == SlotObjective::worst_ratio ? "worst" : "least", planes, slots, weights,
                       rows, max_changes, fitted ? " fitted" : "", stock ? " stock" : "",
                       kRules[static_cast<std::size_t>(rule)]);
  }
};

/// Weights of 300..1000 g mm; responses such that some 3 to 6 of them are needed; a residual of which
/// 5 to 30 % no weight can cancel.
inline SlotProblem draw_problem(const Family& family, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform;
  const auto gauss = [&] {
    const double re = normal(random);
    return std::complex<double>(re, normal(random)) * std::sqrt(0.5);
  };
  const auto moment = [&](int piece) {
    if (piece < 0) return family.fitted ? 120.0 : 0.0;
    return family.weights == 1 ? 1000.0 : 300.0 + 700.0 * piece / (family.weights - 1);
  };
  SlotProblem problem;
  problem.objective = family.objective;
  problem.max_changes = family.max_changes;
  problem.response = Eigen::MatrixXcd(family.rows, family.planes);
  problem.residual = Eigen::VectorXcd(family.rows);
  for (int i = 0; i < family.rows; ++i) {
    for (int p = 0; p < family.planes; ++p) problem.response(i, p) = gauss() / 2000.0;
  }
  const double pieces = 3.0 + 3.0 * uniform(random);
  const double rest = 0.05 + 0.25 * uniform(random);
  Eigen::VectorXcd needed(family.planes);
  for (int p = 0; p < family.planes; ++p) {
    needed[p] = std::polar(900.0 * pieces / family.planes, 2.0 * std::numbers::pi * uniform(random));
  }
  problem.residual = -problem.response * needed;
  for (int i = 0; i < family.rows; ++i) problem.residual[i] += rest * gauss();
  for (int p = 0; p < family.planes; ++p) {
    for (int s = 0; s < family.slots; ++s) {
      const double angle = 2.0 * std::numbers::pi * (s + 0.25) / family.slots;
      const bool holds_one = family.fitted && uniform(random) < 0.25;
      SearchSlot slot;
      slot.plane = p;
      const int holds = holds_one ? static_cast<int>(uniform(random) * family.weights) : -1;
      if (holds >= 0) slot.holds = {holds};
      for (int piece = -1; piece < family.weights; ++piece) {
        if (piece == holds) continue;
        slot.options.push_back({std::polar(moment(piece) - moment(holds), angle), {}});
        if (piece >= 0) slot.options.back().pieces = {piece};
      }
      problem.slots.push_back(slot);
    }
  }
  for (int piece = 0; family.stock && piece < family.weights; ++piece) {
    problem.in_stock.emplace_back(static_cast<int>(uniform(random) * 4.0));
  }
  return problem;
}

/// What a slot's contents count for in a budget: pieces, or mass (in proportion to the moments of
/// `draw_problem`).
inline SlotBudget budget_of(const SlotProblem& problem, bool by_mass, int plane) {
  const auto counts = [&](const std::vector<int>& pieces) {
    double sum = 0.0;
    for (const int piece : pieces) sum += by_mass ? 3.0 + piece : 1.0;
    return sum;
  };
  SlotBudget budget;
  for (std::size_t s = 0; s < problem.slots.size(); ++s) {
    if (plane >= 0 && problem.slots[s].plane != plane) continue;
    SlotBudget::Term term{static_cast<int>(s), counts(problem.slots[s].holds), {}};
    for (const SlotOption& option : problem.slots[s].options) term.options.push_back(counts(option.pieces));
    budget.terms.push_back(std::move(term));
  }
  return budget;
}

/// What a choice amounts to in a budget.
inline double amount_of(const SlotBudget& budget, const std::vector<ChosenOption>& choice) {
  double sum = 0.0;
  for (const SlotBudget::Term& term : budget.terms) {
    const auto it = std::find_if(choice.begin(), choice.end(),
                                 [&](const ChosenOption& one) { return one.slot == term.slot; });
    sum += it == choice.end() ? term.now : term.options[static_cast<std::size_t>(it->option)];
  }
  return sum;
}

/// Holds the problem's best choice (of as many changes as may be) to four fifths of what it takes of each
/// budget, or beyond the present contents; or lets no two neighbours hold weights both; or has opposite slots
/// alike.
inline void set_at_edge(EdgeRule rule, SlotProblem& problem, int planes) {
  if (rule == EdgeRule::none) return;
  const auto slots = static_cast<int>(problem.slots.size());
  const int per_plane = slots / planes;
  if (rule == EdgeRule::neighbours || rule == EdgeRule::alike) {
    for (int s = 0; s < slots; s += rule == EdgeRule::alike ? 2 : 1) {
      const int other = s / per_plane * per_plane + (s % per_plane + 1) % per_plane;
      const auto& held = problem.slots[static_cast<std::size_t>(s)].holds;
      const auto& other_held = problem.slots[static_cast<std::size_t>(other)].holds;
      if (rule == EdgeRule::alike ? held != other_held : !held.empty() && !other_held.empty()) continue;
      problem.pairs.push_back({s, other, rule == EdgeRule::alike ? PairRule::alike : PairRule::apart});
    }
    return;
  }
  const std::vector<SlotChoice> free = search_slots(problem, {0.01, 0.005, processor_limit(2.0)});
  const std::vector<ChosenOption>& best = free.back().changes;
  if (rule == EdgeRule::moment) {
    for (int p = 0; p < planes; ++p) {
      std::complex<double> sum = 0.0;
      for (const ChosenOption& one : best) {
        const SearchSlot& slot = problem.slots[static_cast<std::size_t>(one.slot)];
        if (slot.plane == p) sum += slot.options[static_cast<std::size_t>(one.option)].change;
      }
      problem.moment_limits.push_back({p, 0.0, 0.8 * std::abs(sum)});
    }
    return;
  }
  const bool whole = rule == EdgeRule::pieces;
  for (int p = whole ? -1 : 0; p < (whole ? 0 : planes); ++p) {
    SlotBudget budget = budget_of(problem, rule == EdgeRule::mass, p);
    const double now = amount_of(budget, {});
    const double wanted = amount_of(budget, best);
    budget.limit = std::max(now, now + 0.8 * (wanted - now));
    problem.budgets.push_back(std::move(budget));
  }
}

}  // namespace trimwright::bench

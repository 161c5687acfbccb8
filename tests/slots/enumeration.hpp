#pragma once

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <random>
#include <vector>

#include "trimwright/slot_search.hpp"

namespace trimwright::testing {

using Complex = std::complex<double>;

// ---------------------------------------------------------------------------------------------------------
// Exhaustive enumeration: what the search must agree with.

struct Enumerated {
  std::vector<SlotChoice::Change> changes;
  double objective = 0.0;
  double sum2 = 0.0;
};

/// Largest row the problem can make: what rounding is measured against.
inline double scale_of(const SlotProblem& problem) {
  double moment = 0.0;
  for (const SearchSlot& slot : problem.slots) {
    for (const SlotOption& option : slot.options) moment = std::max(moment, std::abs(option.change));
  }
  double scale = problem.residual.size() > 0 ? problem.residual.cwiseAbs().maxCoeff() : 0.0;
  if (problem.response.size() > 0) {
    scale += problem.response.cwiseAbs().maxCoeff() * moment * std::max(1, problem.max_changes);
  }
  return scale;
}

inline bool keeps_stock(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  std::vector<int> taken(problem.in_stock.size(), 0);
  const auto count = [&](const std::vector<int>& pieces, int by) {
    for (const int piece : pieces) {
      if (static_cast<std::size_t>(piece) < taken.size()) taken[static_cast<std::size_t>(piece)] += by;
    }
  };
  for (const SlotChoice::Change& change : changes) {
    const SearchSlot& slot = problem.slots[static_cast<std::size_t>(change.slot)];
    count(slot.options[static_cast<std::size_t>(change.option)].pieces, 1);
    count(slot.holds, -1);
  }
  for (std::size_t piece = 0; piece < taken.size(); ++piece) {
    if (problem.in_stock[piece] && taken[piece] > *problem.in_stock[piece]) return false;
  }
  return true;
}

inline Eigen::VectorXcd moments_of(const SlotProblem& problem,
                                   const std::vector<SlotChoice::Change>& changes) {
  Eigen::VectorXcd moments = Eigen::VectorXcd::Zero(problem.response.cols());
  for (const SlotChoice::Change& change : changes) {
    const SearchSlot& slot = problem.slots[static_cast<std::size_t>(change.slot)];
    moments[slot.plane] += slot.options[static_cast<std::size_t>(change.option)].change;
  }
  return moments;
}

inline bool keeps_moment_limits(const SlotProblem& problem, const Eigen::VectorXcd& moments) {
  return std::all_of(
      problem.moment_limits.begin(), problem.moment_limits.end(), [&](const MomentLimit& limit) {
        return std::abs(moments[limit.plane] + limit.offset) <= limit.radius * (1.0 + 1e-9) + 1e-12;
      });
}

/// What a slot holds once `changes` are made.
inline std::vector<int> content_of(const SlotProblem& problem, int slot,
                                   const std::vector<SlotChoice::Change>& changes) {
  const SearchSlot& here = problem.slots[static_cast<std::size_t>(slot)];
  std::vector<int> pieces = here.holds;
  for (const SlotChoice::Change& change : changes) {
    if (change.slot == slot) pieces = here.options[static_cast<std::size_t>(change.option)].pieces;
  }
  std::sort(pieces.begin(), pieces.end());
  return pieces;
}

inline bool keeps_pairs(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  return std::all_of(problem.pairs.begin(), problem.pairs.end(), [&](const SlotPair& pair) {
    const std::vector<int> a = content_of(problem, pair.first, changes);
    const std::vector<int> b = content_of(problem, pair.second, changes);
    if (pair.rule == PairRule::apart) return a.empty() || b.empty();
    return pair.rule == PairRule::together ? a.empty() == b.empty() : a == b;
  });
}

inline bool keeps_budgets(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  return std::all_of(problem.budgets.begin(), problem.budgets.end(), [&](const SlotBudget& budget) {
    double sum = 0.0;
    for (const SlotBudget::Term& term : budget.terms) {
      double amount = term.now;
      for (const SlotChoice::Change& change : changes) {
        if (change.slot == term.slot) amount = term.options[static_cast<std::size_t>(change.option)];
      }
      sum += amount;
    }
    return sum <= budget.limit + 1e-9;
  });
}

/// In how many slots two choices leave different contents.
inline int difference(const std::vector<SlotChoice::Change>& a, const std::vector<SlotChoice::Change>& b) {
  std::map<int, int> options;
  for (const SlotChoice::Change& change : a) options[change.slot] = change.option;
  int count = static_cast<int>(a.size());
  for (const SlotChoice::Change& change : b) {
    const auto found = options.find(change.slot);
    if (found == options.end()) {
      ++count;
    } else if (found->second == change.option) {
      --count;
    }
  }
  return count;
}

inline bool keeps_slot_rules(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  for (int s = 0; s < static_cast<int>(problem.slots.size()); ++s) {
    const bool changed =
        std::any_of(changes.begin(), changes.end(), [&](const auto& change) { return change.slot == s; });
    if (problem.slots[static_cast<std::size_t>(s)].must_change && !changed) return false;
  }
  const bool new_choice = std::all_of(problem.taken.begin(), problem.taken.end(), [&](const auto& other) {
    return difference(changes, other) >= problem.least_difference;
  });
  return new_choice && keeps_pairs(problem, changes) && keeps_budgets(problem, changes);
}

inline Enumerated judged(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  const Eigen::VectorXcd rows = problem.residual + problem.response * moments_of(problem, changes);
  Enumerated choice{changes, 0.0, rows.squaredNorm()};
  choice.objective = problem.objective == SlotObjective::least_squares ? rows.norm()
                     : rows.size() > 0                                 ? rows.cwiseAbs().maxCoeff()
                                                                       : 0.0;
  return choice;
}

inline void enumerate(const SlotProblem& problem, int slot, std::vector<SlotChoice::Change>& changes,
                      std::vector<Enumerated>& all) {
  if (slot == static_cast<int>(problem.slots.size())) {
    if (keeps_stock(problem, changes) && keeps_moment_limits(problem, moments_of(problem, changes)) &&
        keeps_slot_rules(problem, changes)) {
      all.push_back(judged(problem, changes));
    }
    return;
  }
  enumerate(problem, slot + 1, changes, all);
  if (static_cast<int>(changes.size()) == problem.max_changes) return;
  const auto options = static_cast<int>(problem.slots[static_cast<std::size_t>(slot)].options.size());
  for (int option = 0; option < options; ++option) {
    changes.push_back({slot, option});
    enumerate(problem, slot + 1, changes, all);
    changes.pop_back();
  }
}

inline std::vector<Enumerated> enumerate(const SlotProblem& problem) {
  std::vector<Enumerated> all;
  std::vector<SlotChoice::Change> changes;
  enumerate(problem, 0, changes, all);
  return all;
}

inline bool comes_first(const SlotProblem& problem, const Enumerated& a, const Enumerated& b) {
  if (a.changes.size() != b.changes.size()) return a.changes.size() < b.changes.size();
  if (std::abs(a.sum2 - b.sum2) > 2e-9 * std::max(a.sum2, b.sum2) + 1e-20 * std::pow(scale_of(problem), 2)) {
    return a.sum2 < b.sum2;
  }
  for (std::size_t i = 0; i < a.changes.size(); ++i) {
    if (a.changes[i].slot != b.changes[i].slot) return a.changes[i].slot < b.changes[i].slot;
  }
  const auto size_of = [&](const SlotChoice::Change& change) {
    return std::abs(problem.slots[static_cast<std::size_t>(change.slot)]
                        .options[static_cast<std::size_t>(change.option)]
                        .change);
  };
  for (std::size_t i = 0; i < a.changes.size(); ++i) {
    const double x = size_of(a.changes[i]);
    const double y = size_of(b.changes[i]);
    if (std::abs(x - y) > 1e-9 * std::max(x, y)) return x < y;
  }
  for (std::size_t i = 0; i < a.changes.size(); ++i) {
    if (a.changes[i].option != b.changes[i].option) return a.changes[i].option < b.changes[i].option;
  }
  return false;
}

/// Best of at most `changes` changes with the documented order of ties; null when nothing is admissible.
inline const Enumerated* best_of(const SlotProblem& problem, const std::vector<Enumerated>& all,
                                 std::size_t changes) {
  double least = std::numeric_limits<double>::infinity();
  for (const Enumerated& choice : all) {
    if (choice.changes.size() <= changes) least = std::min(least, choice.objective);
  }
  const double edge = least + std::max(1e-9 * least, 1e-12 * scale_of(problem));
  const Enumerated* best = nullptr;
  for (const Enumerated& choice : all) {
    if (choice.changes.size() > changes || choice.objective > edge) continue;
    if (best == nullptr || comes_first(problem, choice, *best)) best = &choice;
  }
  return best;
}

inline bool same_changes(const std::vector<SlotChoice::Change>& a, const std::vector<SlotChoice::Change>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](const auto& x, const auto& y) { return x.slot == y.slot && x.option == y.option; });
}

// ---------------------------------------------------------------------------------------------------------
// Random small problems of the trade: rings of slots, some already holding weights.

struct Recipe {
  int planes = 1;
  int rows = 4;
  int slots = 6;    ///< in all planes together
  int weights = 2;  ///< catalogue
  int max_changes = 3;
  bool stock = false;
  bool limits = false;
  bool ring_symmetry = false;  ///< equal weights opposite each other, so that sums coincide
  double fitted = 0.3;         ///< part of the slots that hold something
  bool stacks = false;         ///< two pieces in one slot as well
  bool rules = false;          ///< budgets, pairs, slots that must change, choices taken
};

class Draw {
 public:
  explicit Draw(unsigned seed) : random_(seed) {}
  double uniform(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random_);
  }
  int integer(int low, int high) { return std::uniform_int_distribution<int>(low, high)(random_); }
  bool chance(double probability) { return uniform(0.0, 1.0) < probability; }
  Complex gauss() {
    std::normal_distribution<double> normal;
    const double re = normal(random_);
    return {re, normal(random_)};
  }

 private:
  std::mt19937 random_;
};

/// What a slot can hold: nothing, a weight, or a stack of two.
inline std::vector<std::vector<int>> contents(const Recipe& recipe) {
  std::vector<std::vector<int>> all{{}};
  for (int piece = 0; piece < recipe.weights; ++piece) all.push_back({piece});
  for (int a = 0; recipe.stacks && a < recipe.weights; ++a) {
    for (int b = a; b < recipe.weights; ++b) all.push_back({a, b});
  }
  return all;
}

inline double amount_of(const std::vector<int>& pieces) {
  double moment = pieces.empty() ? 10.0 : 0.0;
  for (const int piece : pieces) moment += 40.0 + 35.0 * piece;
  return moment;
}

inline std::vector<SlotOption> options_of(const Recipe& recipe, Draw& draw, const std::vector<int>& holds,
                                          double angle) {
  std::vector<SlotOption> options;
  for (const std::vector<int>& pieces : contents(recipe)) {
    if (pieces == holds || draw.chance(0.15)) continue;
    options.push_back({std::polar(amount_of(pieces) - amount_of(holds), angle), pieces});
  }
  return options;
}

inline SlotBudget random_budget(const SlotProblem& problem, Draw& draw) {
  const bool in_pieces = draw.chance(0.5);
  const int plane = draw.chance(0.5) ? -1 : problem.slots.front().plane;
  const auto amount = [&](const std::vector<int>& pieces) {
    return in_pieces ? static_cast<double>(pieces.size()) : amount_of(pieces);
  };
  SlotBudget budget;
  double now = 0.0;
  for (int s = 0; s < static_cast<int>(problem.slots.size()); ++s) {
    const SearchSlot& slot = problem.slots[static_cast<std::size_t>(s)];
    if (plane >= 0 && slot.plane != plane) continue;
    SlotBudget::Term term{s, amount(slot.holds), {}};
    for (const SlotOption& option : slot.options) term.options.push_back(amount(option.pieces));
    now += term.now;
    budget.terms.push_back(std::move(term));
  }
  budget.limit = in_pieces ? std::max(0.0, now + draw.integer(-2, 3)) : now + draw.uniform(-60.0, 150.0);
  return budget;
}

inline void add_pairs(SlotProblem& problem, Draw& draw) {
  const int slots = static_cast<int>(problem.slots.size());
  const bool regular = draw.chance(0.5);
  const PairRule rule = static_cast<PairRule>(draw.integer(0, 2));
  if (regular && rule == PairRule::apart) {
    for (int s = 0; s + 1 < slots; ++s) problem.pairs.push_back({s, s + 1, rule});
  } else if (regular) {
    for (int s = 0; s + slots / 2 < slots; ++s) {
      if (s < slots / 2) problem.pairs.push_back({s, s + slots / 2, rule});
    }
  }
  for (int pair = draw.integer(0, 2); pair > 0 && slots > 1; --pair) {
    const int first = draw.integer(0, slots - 1);
    const int second = draw.integer(0, slots - 1);
    if (first != second) problem.pairs.push_back({first, second, static_cast<PairRule>(draw.integer(0, 2))});
  }
}

inline std::vector<SlotChoice::Change> random_choice(const SlotProblem& problem, Draw& draw) {
  std::vector<SlotChoice::Change> changes;
  for (int s = 0; s < static_cast<int>(problem.slots.size()); ++s) {
    const auto options = static_cast<int>(problem.slots[static_cast<std::size_t>(s)].options.size());
    if (options > 0 && static_cast<int>(changes.size()) < problem.max_changes && draw.chance(0.4)) {
      changes.push_back({s, draw.integer(0, options - 1)});
    }
  }
  return changes;
}

inline void add_rules(SlotProblem& problem, Draw& draw) {
  for (int budget = draw.integer(0, 2); budget > 0; --budget) {
    problem.budgets.push_back(random_budget(problem, draw));
  }
  if (draw.chance(0.6)) add_pairs(problem, draw);
  for (SearchSlot& slot : problem.slots)
    slot.must_change = draw.chance(0.6 / static_cast<double>(problem.slots.size()));
  problem.least_difference = draw.integer(1, 3);
  for (int taken = draw.integer(0, 4) - 2; taken > 0; --taken) {
    problem.taken.push_back(random_choice(problem, draw));
  }
}

inline SlotProblem random_problem(const Recipe& recipe, Draw& draw) {
  SlotProblem problem;
  problem.objective = draw.chance(0.5) ? SlotObjective::worst_ratio : SlotObjective::least_squares;
  problem.max_changes = recipe.max_changes;
  problem.residual = Eigen::VectorXcd(recipe.rows);
  problem.response = Eigen::MatrixXcd(recipe.rows, recipe.planes);
  for (int i = 0; i < recipe.rows; ++i) {
    problem.residual[i] = draw.gauss();
    for (int p = 0; p < recipe.planes; ++p) problem.response(i, p) = 0.01 * draw.gauss();
  }
  const double turn = recipe.ring_symmetry ? 0.0 : draw.uniform(0.0, 1.0);
  const std::vector<std::vector<int>> can_hold = contents(recipe);
  for (int s = 0; s < recipe.slots; ++s) {
    const int plane = s * recipe.planes / recipe.slots;
    const int in_ring = (recipe.slots + recipe.planes - 1) / recipe.planes;
    const double angle = 2.0 * std::numbers::pi * (turn + s % in_ring) / in_ring;
    SearchSlot slot;
    slot.plane = plane;
    if (draw.chance(recipe.fitted)) {
      slot.holds = can_hold[static_cast<std::size_t>(draw.integer(1, static_cast<int>(can_hold.size()) - 1))];
    }
    slot.options = options_of(recipe, draw, slot.holds, angle);
    problem.slots.push_back(std::move(slot));
  }
  for (int piece = 0; recipe.stock && piece < recipe.weights; ++piece) {
    problem.in_stock.push_back(draw.chance(0.2) ? std::nullopt : std::optional<int>(draw.integer(0, 2)));
  }
  for (int limit = 0; recipe.limits && limit < draw.integer(1, 3); ++limit) {
    problem.moment_limits.push_back(
        {draw.integer(0, recipe.planes - 1), 60.0 * draw.gauss(), draw.uniform(20.0, 200.0)});
  }
  if (recipe.rules) add_rules(problem, draw);
  return problem;
}

/// The cases in which a formula could divide by nothing or a bound could be flat.
inline void make_awkward(SlotProblem& problem, Draw& draw) {
  const int rows = static_cast<int>(problem.residual.size());
  const int planes = static_cast<int>(problem.response.cols());
  switch (draw.integer(0, 7)) {
    case 0:
      problem.residual.setZero();
      break;
    case 1:
      problem.response.col(draw.integer(0, planes - 1)).setZero();
      break;
    case 2:
      problem.response.col(planes - 1) = problem.response.col(0) * (1.0 + 1e-7);
      problem.response(rows - 1, planes - 1) *= 1.0 + 1e-5;
      break;
    case 3:
      problem.response.row(rows - 1).setZero();
      break;
    case 4:
      problem.response.row(rows - 1).setZero();
      problem.residual[rows - 1] = 0.5 * problem.residual.cwiseAbs().maxCoeff();
      break;
    case 5:
      for (SearchSlot& slot : problem.slots) slot.plane = 0;
      break;
    case 6:  // a residual that some choice cancels exactly
      problem.residual = -problem.response * moments_of(problem, random_choice(problem, draw));
      break;
    default:
      break;
  }
}

/// A small problem with any of the rules.
inline SlotProblem random_ruled_problem(Draw& draw) {
  Recipe recipe;
  recipe.planes = draw.integer(1, 3);
  recipe.rows = draw.integer(1, 12);
  recipe.slots = draw.integer(recipe.planes, 9);
  recipe.stacks = draw.chance(0.3);
  recipe.weights = draw.integer(1, recipe.stacks ? 2 : 3);
  recipe.max_changes = draw.integer(0, 5);
  recipe.stock = draw.chance(0.4);
  recipe.limits = draw.chance(0.2);
  recipe.ring_symmetry = draw.chance(0.4);
  recipe.rules = true;
  SlotProblem problem = random_problem(recipe, draw);
  if (draw.chance(0.3)) make_awkward(problem, draw);
  return problem;
}

}  // namespace trimwright::testing

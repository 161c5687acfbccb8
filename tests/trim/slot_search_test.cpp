#include "trimwright/trim/slot_search.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

namespace {

using namespace trimwright;
using Complex = std::complex<double>;

// ---------------------------------------------------------------------------------------------------------
// Exhaustive enumeration: what the search must agree with.

struct Enumerated {
  std::vector<SlotChoice::Change> changes;
  double objective = 0.0;
  double sum2 = 0.0;
};

/// Largest row the problem can make: what rounding is measured against.
double scale_of(const SlotProblem& problem) {
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

bool keeps_stock(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  std::vector<int> taken(problem.in_stock.size(), 0);
  const auto count = [&](int piece, int by) {
    if (piece >= 0 && static_cast<std::size_t>(piece) < taken.size())
      taken[static_cast<std::size_t>(piece)] += by;
  };
  for (const SlotChoice::Change& change : changes) {
    const SearchSlot& slot = problem.slots[static_cast<std::size_t>(change.slot)];
    count(slot.options[static_cast<std::size_t>(change.option)].piece, 1);
    count(slot.holds, -1);
  }
  for (std::size_t piece = 0; piece < taken.size(); ++piece) {
    if (problem.in_stock[piece] && taken[piece] > *problem.in_stock[piece]) return false;
  }
  return true;
}

Eigen::VectorXcd moments_of(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  Eigen::VectorXcd moments = Eigen::VectorXcd::Zero(problem.response.cols());
  for (const SlotChoice::Change& change : changes) {
    const SearchSlot& slot = problem.slots[static_cast<std::size_t>(change.slot)];
    moments[slot.plane] += slot.options[static_cast<std::size_t>(change.option)].change;
  }
  return moments;
}

bool keeps_moment_limits(const SlotProblem& problem, const Eigen::VectorXcd& moments) {
  return std::all_of(
      problem.moment_limits.begin(), problem.moment_limits.end(), [&](const MomentLimit& limit) {
        return std::abs(moments[limit.plane] + limit.offset) <= limit.radius * (1.0 + 1e-9) + 1e-12;
      });
}

Enumerated judged(const SlotProblem& problem, const std::vector<SlotChoice::Change>& changes) {
  const Eigen::VectorXcd rows = problem.residual + problem.response * moments_of(problem, changes);
  Enumerated choice{changes, 0.0, rows.squaredNorm()};
  choice.objective = problem.objective == SlotObjective::least_squares ? rows.norm()
                     : rows.size() > 0                                 ? rows.cwiseAbs().maxCoeff()
                                                                       : 0.0;
  return choice;
}

void enumerate(const SlotProblem& problem, int slot, std::vector<SlotChoice::Change>& changes,
               std::vector<Enumerated>& all) {
  if (slot == static_cast<int>(problem.slots.size())) {
    if (keeps_stock(problem, changes) && keeps_moment_limits(problem, moments_of(problem, changes))) {
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

std::vector<Enumerated> enumerate(const SlotProblem& problem) {
  std::vector<Enumerated> all;
  std::vector<SlotChoice::Change> changes;
  enumerate(problem, 0, changes, all);
  return all;
}

bool comes_first(const SlotProblem& problem, const Enumerated& a, const Enumerated& b) {
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
const Enumerated* best_of(const SlotProblem& problem, const std::vector<Enumerated>& all,
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

bool same_changes(const std::vector<SlotChoice::Change>& a, const std::vector<SlotChoice::Change>& b) {
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

std::vector<SlotOption> options_of(const Recipe& recipe, Draw& draw, int holds, double angle) {
  const auto moment = [&](int piece) { return piece < 0 ? 10.0 : 40.0 + 35.0 * piece; };
  std::vector<SlotOption> options;
  for (int piece = -1; piece < recipe.weights; ++piece) {
    if (piece == holds || draw.chance(0.15)) continue;
    options.push_back({std::polar(moment(piece) - moment(holds), angle), piece});
  }
  return options;
}

SlotProblem random_problem(const Recipe& recipe, Draw& draw) {
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
  for (int s = 0; s < recipe.slots; ++s) {
    const int plane = s * recipe.planes / recipe.slots;
    const int in_ring = (recipe.slots + recipe.planes - 1) / recipe.planes;
    const double angle = 2.0 * std::numbers::pi * (turn + s % in_ring) / in_ring;
    const int holds = draw.chance(0.3) ? draw.integer(0, recipe.weights - 1) : -1;
    problem.slots.push_back({plane, holds, options_of(recipe, draw, holds, angle)});
  }
  for (int piece = 0; recipe.stock && piece < recipe.weights; ++piece) {
    problem.in_stock.push_back(draw.chance(0.2) ? std::nullopt : std::optional<int>(draw.integer(0, 2)));
  }
  for (int limit = 0; recipe.limits && limit < draw.integer(1, 3); ++limit) {
    problem.moment_limits.push_back(
        {draw.integer(0, recipe.planes - 1), 60.0 * draw.gauss(), draw.uniform(20.0, 200.0)});
  }
  return problem;
}

/// The cases in which a formula could divide by nothing or a bound could be flat.
void make_awkward(SlotProblem& problem, Draw& draw) {
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
    case 6: {  // a residual that some choice cancels exactly
      std::vector<SlotChoice::Change> changes;
      for (int s = 0; s < static_cast<int>(problem.slots.size()); ++s) {
        const auto options = static_cast<int>(problem.slots[static_cast<std::size_t>(s)].options.size());
        if (options > 0 && static_cast<int>(changes.size()) < problem.max_changes && draw.chance(0.4)) {
          changes.push_back({s, draw.integer(0, options - 1)});
        }
      }
      problem.residual = -problem.response * moments_of(problem, changes);
      break;
    }
    default:
      break;
  }
}

void check_against_enumeration(const SlotProblem& problem) {
  const std::vector<Enumerated> all = enumerate(problem);
  const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, 60.0});
  REQUIRE(found.size() == static_cast<std::size_t>(problem.max_changes) + 1);
  for (std::size_t m = 0; m < found.size(); ++m) {
    CAPTURE(m);
    const Enumerated* best = best_of(problem, all, m);
    REQUIRE(found[m].admissible == (best != nullptr));
    if (best == nullptr) {
      CHECK(found[m].changes.empty());
      CHECK(std::isinf(found[m].objective));
      continue;
    }
    CHECK(found[m].proved_optimal);
    CHECK(found[m].objective == doctest::Approx(best->objective).epsilon(1e-9));
    CHECK(found[m].bound <= best->objective * (1.0 + 1e-12));
    CHECK(same_changes(found[m].changes, best->changes));
  }
}

}  // namespace

TEST_SUITE("slot search") {
  TEST_CASE("the search agrees with trying everything, ties included") {
    Draw draw(20240501);
    for (int instance = 0; instance < 400; ++instance) {
      CAPTURE(instance);
      Recipe recipe;
      recipe.planes = draw.integer(1, 4);
      recipe.rows = draw.integer(1, 12);
      recipe.slots = draw.integer(recipe.planes, 9);
      recipe.weights = draw.integer(1, 3);
      recipe.max_changes = draw.integer(0, 4);
      recipe.stock = draw.chance(0.5);
      recipe.limits = draw.chance(0.3);
      recipe.ring_symmetry = draw.chance(0.4);
      SlotProblem problem = random_problem(recipe, draw);
      if (draw.chance(0.5)) make_awkward(problem, draw);
      check_against_enumeration(problem);
    }
  }
}

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

  TEST_CASE("it agrees on fuller rings with few changes and on short rings with every slot changed") {
    Draw draw(7);
    for (int instance = 0; instance < 40; ++instance) {
      CAPTURE(instance);
      const bool full = instance % 2 == 0;
      Recipe recipe;
      recipe.planes = draw.integer(1, 3);
      recipe.rows = draw.integer(2, 12);
      recipe.slots = full ? 20 : 6;
      recipe.weights = full ? 3 : 2;
      recipe.max_changes = full ? 2 : 8;
      recipe.stock = draw.chance(0.5);
      SlotProblem problem = random_problem(recipe, draw);
      check_against_enumeration(problem);
    }
  }

  TEST_CASE("rounding in the rows does not change the choice, even between equal choices") {
    Draw draw(11);
    for (int instance = 0; instance < 60; ++instance) {
      CAPTURE(instance);
      Recipe recipe;
      recipe.planes = draw.integer(1, 2);
      recipe.slots = 8;
      recipe.max_changes = 3;
      recipe.ring_symmetry = true;
      SlotProblem problem = random_problem(recipe, draw);
      if (recipe.planes == 2) problem.response.col(1) = problem.response.col(0);  // many choices are equal
      const std::vector<SlotChoice> plain = search_slots(problem, {0.0, 0.0, 60.0});
      for (Complex& row : problem.residual) row *= Complex(1.0 + draw.uniform(-1e-15, 1e-15), 1e-16);
      const std::vector<SlotChoice> noisy = search_slots(problem, {0.0, 0.0, 60.0});
      for (std::size_t m = 0; m < plain.size(); ++m) CHECK(same_changes(plain[m].changes, noisy[m].changes));
    }
  }

  TEST_CASE("a gap that is allowed is kept, and every bound is true") {
    Draw draw(13);
    for (int instance = 0; instance < 100; ++instance) {
      CAPTURE(instance);
      Recipe recipe;
      recipe.planes = draw.integer(1, 3);
      recipe.slots = 9;
      recipe.max_changes = 4;
      recipe.stock = draw.chance(0.5);
      const SlotProblem problem = random_problem(recipe, draw);
      const std::vector<Enumerated> all = enumerate(problem);
      const std::vector<SlotChoice> found = search_slots(problem, {0.05, 0.02, 60.0});
      for (std::size_t m = 0; m < found.size(); ++m) {
        const Enumerated* best = best_of(problem, all, m);
        CHECK(found[m].bound <= best->objective * (1.0 + 1e-12));
        CHECK(found[m].objective >= best->objective * (1.0 - 1e-12));
        CHECK(found[m].objective - found[m].bound <= std::max(0.05 * found[m].objective, 0.02) * 1.00001);
        CHECK(found[m].stopped != SlotChoice::Stopped::time_limit);
        CHECK(judged(problem, found[m].changes).objective ==
              doctest::Approx(found[m].objective).epsilon(1e-12));
      }
    }
  }

  TEST_CASE("with no time at all the answers are still choices that can be fitted, under true bounds") {
    Draw draw(17);
    for (int instance = 0; instance < 50; ++instance) {
      Recipe recipe;
      recipe.slots = 9;
      recipe.stock = true;
      const SlotProblem problem = random_problem(recipe, draw);
      const std::vector<Enumerated> all = enumerate(problem);
      const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, 0.0});
      REQUIRE(found.size() == 4);
      CHECK(found[0].changes.empty());
      for (std::size_t m = 0; m < found.size(); ++m) {
        CHECK(keeps_stock(problem, found[m].changes));
        CHECK(found[m].bound <= best_of(problem, all, m)->objective * (1.0 + 1e-12));
        if (found[m].proved_optimal) {
          CHECK(found[m].objective == doctest::Approx(best_of(problem, all, m)->objective).epsilon(1e-9));
        }
        if (m > 0) CHECK(found[m].objective <= found[m - 1].objective);
      }
    }
  }

  TEST_CASE(
      "a row no weight can change does not stop the others from being improved, nor change for nothing") {
    SlotProblem problem;
    problem.residual = Eigen::VectorXcd(3);
    problem.residual << 0.9, Complex(0.0, 1.0), 0.5;
    problem.response = Eigen::MatrixXcd(3, 1);
    problem.response << 0.0, Complex(0.0, -0.01), -0.004;
    problem.max_changes = 3;
    for (int s = 0; s < 8; ++s) {
      const double angle = 2.0 * std::numbers::pi * s / 8;
      problem.slots.push_back({0, -1, {{std::polar(30.0, angle), 0}, {std::polar(60.0, angle), 1}}});
    }
    const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, 60.0});
    CHECK(found[1].objective == doctest::Approx(0.9));
    CHECK(found[1].proved_optimal);
    CHECK(found[1].changes.size() == 1);  // one weight brings the second row below the first: more is idle
    CHECK(same_changes(found[3].changes, found[1].changes));
    // Of the weights that do so, the heavier at slot 1 leaves the smaller sum of squares.
    CHECK(found[1].changes[0].slot == 0);
    CHECK(found[1].changes[0].option == 1);
  }

  TEST_CASE("a weight that is not in stock may come out of another slot") {
    SlotProblem problem;
    problem.residual = Eigen::VectorXcd::Constant(1, -1.0);
    problem.response = Eigen::MatrixXcd::Constant(1, 1, 0.01);
    problem.in_stock = {0};
    problem.max_changes = 2;
    problem.slots.push_back({0, -1, {{50.0, 0}}});
    problem.slots.push_back({0, 0, {{50.0, -1}}});  // holds one at the wrong side
    const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, 60.0});
    CHECK(found[1].objective == doctest::Approx(0.5));
    REQUIRE(found[1].changes.size() == 1);
    CHECK(found[1].changes[0].slot == 1);
    CHECK(found[2].objective == doctest::Approx(0.0));
    CHECK(found[2].changes.size() == 2);
  }

  TEST_CASE("where nothing is admissible it says so instead of offering something") {
    SlotProblem problem;
    problem.residual = Eigen::VectorXcd::Constant(1, 1.0);
    problem.response = Eigen::MatrixXcd::Constant(1, 1, 0.01);
    problem.max_changes = 2;
    problem.slots.push_back({0, -1, {{10.0, -1}}});
    problem.slots.push_back({0, -1, {{10.0, -1}}});
    problem.moment_limits.push_back({0, -20.0, 1.0});  // only both changes together keep it
    const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, 60.0});
    CHECK_FALSE(found[0].admissible);
    CHECK_FALSE(found[1].admissible);
    CHECK(std::isinf(found[1].bound));
    CHECK(found[2].admissible);
    CHECK(found[2].objective == doctest::Approx(1.2));
    problem.moment_limits.push_back({0, 100.0, 1.0});
    CHECK_FALSE(search_slots(problem, {0.0, 0.0, 60.0})[2].admissible);
  }

  TEST_CASE("nothing to change, nothing to measure, nothing allowed: no change") {
    SlotProblem problem;
    problem.residual = Eigen::VectorXcd::Constant(2, 0.7);
    problem.response = Eigen::MatrixXcd::Zero(2, 2);
    problem.max_changes = 3;
    CHECK(search_slots(problem, {0.0, 0.0, 60.0}).size() == 4);
    CHECK(search_slots(problem, {0.0, 0.0, 60.0})[3].proved_optimal);
    problem.slots.push_back({1, -1, {{10.0, -1}}});
    CHECK(search_slots(problem, {0.0, 0.0, 60.0})[3].changes.empty());
    problem.residual.resize(0);
    problem.response.resize(0, 2);
    CHECK(search_slots(problem, {0.0, 0.0, 60.0})[3].objective == 0.0);
    problem.max_changes = 0;
    CHECK(search_slots(problem, {0.0, 0.0, 60.0}).size() == 1);
  }

  TEST_CASE("a ring of real size is proved to within one per cent, one answer for each number of changes") {
    Draw draw(19);
    Recipe recipe;
    recipe.planes = 2;
    recipe.rows = 12;
    recipe.slots = 72;
    recipe.weights = 6;
    recipe.max_changes = 6;
    for (int instance = 0; instance < 3; ++instance) {
      const SlotProblem problem = random_problem(recipe, draw);
      const std::vector<SlotChoice> found = search_slots(problem, {0.01, 0.005, 60.0});
      for (std::size_t m = 0; m < found.size(); ++m) {
        CHECK(found[m].changes.size() <= m);
        CHECK(found[m].objective - found[m].bound <= std::max(0.01 * found[m].objective, 0.005) * 1.00001);
        if (m > 0) CHECK(found[m].objective <= found[m - 1].objective);
        if (m > 0) CHECK(found[m].bound <= found[m - 1].bound);
      }
    }
  }
}

#include "trimwright/slot_search.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <thread>
#include <vector>

#include "bench/slot_families.hpp"
#include "slots/enumeration.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

std::vector<SlotChoice> exact(const SlotProblem& problem) {
  return search_slots(problem, {0.0, 0.0, Deadline::after(60.0)});
}

void check_against_enumeration(const SlotProblem& problem) {
  const std::vector<Enumerated> all = enumerate(problem);
  const std::vector<SlotChoice> found = exact(problem);
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

/// The same problem with its last plane listed first, for one without pairs, budgets and moment limits.
SlotProblem with_planes_turned(const SlotProblem& problem) {
  SlotProblem turned = problem;
  const auto planes = static_cast<int>(problem.response.cols());
  for (int p = 0; p < planes; ++p) turned.response.col((p + 1) % planes) = problem.response.col(p);
  for (SearchSlot& slot : turned.slots) slot.plane = (slot.plane + 1) % planes;
  std::stable_sort(turned.slots.begin(), turned.slots.end(),
                   [](const SearchSlot& a, const SearchSlot& b) { return a.plane < b.plane; });
  return turned;
}

/// To the last bit.
void check_same(const std::vector<SlotChoice>& found, const std::vector<SlotChoice>& expected) {
  REQUIRE(found.size() == expected.size());
  for (std::size_t m = 0; m < expected.size(); ++m) {
    CHECK(same_changes(found[m].changes, expected[m].changes));
    CHECK(found[m].objective == expected[m].objective);
    CHECK(found[m].bound == expected[m].bound);
    CHECK(found[m].stopped == expected[m].stopped);
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

  TEST_CASE("it agrees with every rule there is, alone and together") {
    Draw draw(20240502);
    for (int instance = 0; instance < 1500; ++instance) {
      CAPTURE(instance);
      check_against_enumeration(random_ruled_problem(draw));
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
      const std::vector<SlotChoice> plain = exact(problem);
      for (Complex& row : problem.residual) row *= Complex(1.0 + draw.uniform(-1e-15, 1e-15), 1e-16);
      const std::vector<SlotChoice> noisy = exact(problem);
      REQUIRE(plain.size() == 4);
      REQUIRE(noisy.size() == 4);
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
      const std::vector<SlotChoice> found = search_slots(problem, {0.05, 0.02, Deadline::after(60.0)});
      REQUIRE(found.size() == 5);
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
      const std::vector<SlotChoice> found = search_slots(problem, {0.0, 0.0, Deadline::after(0.0)});
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
      problem.slots.push_back({0, {}, {{std::polar(30.0, angle), {0}}, {std::polar(60.0, angle), {1}}}});
    }
    const std::vector<SlotChoice> found = exact(problem);
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
    problem.slots.push_back({0, {}, {{50.0, {0}}}});
    problem.slots.push_back({0, {0}, {{50.0, {}}}});  // holds one at the wrong side
    const std::vector<SlotChoice> found = exact(problem);
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
    problem.slots.push_back({0, {}, {{10.0, {}}}});
    problem.slots.push_back({0, {}, {{10.0, {}}}});
    problem.moment_limits.push_back({0, -20.0, 1.0});  // only both changes together keep it
    const std::vector<SlotChoice> found = exact(problem);
    CHECK_FALSE(found[0].admissible);
    CHECK_FALSE(found[1].admissible);
    CHECK(std::isinf(found[1].bound));
    CHECK(found[2].admissible);
    CHECK(found[2].objective == doctest::Approx(1.2));
    problem.moment_limits.push_back({0, 100.0, 1.0});
    CHECK_FALSE(exact(problem)[2].admissible);
  }

  TEST_CASE("with nothing measured it still finds whether the rules can be kept") {
    Draw draw(23);
    for (int instance = 0; instance < 200; ++instance) {
      CAPTURE(instance);
      SlotProblem problem = random_ruled_problem(draw);
      problem.residual.resize(0);
      problem.response.resize(0, problem.response.cols());
      const std::vector<Enumerated> all = enumerate(problem);
      const double any = std::numeric_limits<double>::infinity();
      const std::vector<SlotChoice> found = search_slots(problem, {0.0, any, Deadline::after(60.0)});
      REQUIRE(found.size() == static_cast<std::size_t>(problem.max_changes) + 1);
      for (std::size_t m = 0; m < found.size(); ++m) {
        CHECK(found[m].admissible == (best_of(problem, all, m) != nullptr));
        if (!found[m].admissible) CHECK(std::isinf(found[m].bound));
      }
    }
  }

  TEST_CASE("nothing to change, nothing to measure, nothing allowed: no change") {
    SlotProblem problem;
    problem.residual = Eigen::VectorXcd::Constant(2, 0.7);
    problem.response = Eigen::MatrixXcd::Zero(2, 2);
    problem.max_changes = 3;
    CHECK(exact(problem).size() == 4);
    CHECK(exact(problem)[3].proved_optimal);
    problem.slots.push_back({1, {}, {{10.0, {}}}});
    CHECK(exact(problem)[3].changes.empty());
    problem.residual.resize(0);
    problem.response.resize(0, 2);
    CHECK(exact(problem)[3].objective == 0.0);
    problem.max_changes = 0;
    CHECK(exact(problem).size() == 1);
  }

  TEST_CASE("called from several threads at once, every call answers as it would alone") {
    Draw draw(29);
    Recipe recipe;
    recipe.planes = 2;
    recipe.rows = 8;
    recipe.slots = 48;
    recipe.weights = 4;
    recipe.max_changes = 5;
    recipe.stock = true;
    std::vector<SlotProblem> problems;
    for (int i = 0; i < 6; ++i) problems.push_back(random_problem(recipe, draw));
    const auto solve = [](const SlotProblem& problem) {
      return search_slots(problem, {0.01, 0.005, Deadline::after(600.0)});
    };
    std::vector<std::vector<SlotChoice>> alone;
    for (const SlotProblem& problem : problems) alone.push_back(solve(problem));
    for (const std::size_t threads : std::vector<std::size_t>{2, 3, 8}) {
      CAPTURE(threads);
      std::vector<std::vector<SlotChoice>> together(threads * problems.size());
      std::vector<std::thread> pool;
      for (std::size_t t = 0; t < threads; ++t)
        pool.emplace_back([&, t] {
          for (std::size_t i = 0; i < problems.size(); ++i)
            together[t * problems.size() + i] = solve(problems[(i + t) % problems.size()]);
        });
      for (std::thread& thread : pool) thread.join();
      for (std::size_t k = 0; k < together.size(); ++k) {
        REQUIRE_FALSE(together[k].empty());
        check_same(together[k], alone[(k % problems.size() + k / problems.size()) % problems.size()]);
      }
    }
  }

  TEST_CASE("the order in which planes are listed does not matter") {
    for (unsigned seed = 5301; seed <= 5308; ++seed) {
      CAPTURE(seed);
      const bool scarce = seed % 2 == 0;
      const SlotProblem problem = bench::draw_problem({3, 36, 10, 6, 6, scarce, scarce}, seed);
      const std::vector<SlotChoice> found = exact(problem);
      const std::vector<SlotChoice> turned = exact(with_planes_turned(problem));
      REQUIRE(found.size() == turned.size());
      for (std::size_t m = 0; m < found.size(); ++m) {
        CAPTURE(m);
        REQUIRE(found[m].proved_optimal);
        REQUIRE(turned[m].proved_optimal);
        CHECK(turned[m].objective == doctest::Approx(found[m].objective).epsilon(1e-8));
      }
    }
  }

  TEST_CASE("however many threads search, the answers are the same") {
    constexpr double kGaps[] = {0.01, 0.1, 0.3};
    for (unsigned seed = 5201; seed <= 5206; ++seed) {
      const bench::Family family{2 + static_cast<int>(seed % 2), 36, 6, 12, 7, true, true};
      const SlotProblem problem = bench::draw_problem(family, seed);
      const double gap = kGaps[seed % 3];
      CAPTURE(seed);
      const auto solve = [&](int threads) {
        return search_slots(problem, {gap, gap / 2.0, Deadline::after(600.0), threads});
      };
      const std::vector<SlotChoice> alone = solve(1);
      for (const int threads : {2, 5, 0}) {
        CAPTURE(threads);
        check_same(solve(threads), alone);
      }
    }
  }

  TEST_CASE(
      "with many planes and weights a first answer and a bound over all of them come before any table") {
    Draw draw(31);
    Recipe recipe;
    recipe.planes = 4;
    recipe.rows = 10;
    recipe.slots = 240;
    recipe.weights = 20;
    recipe.max_changes = 6;
    recipe.stock = true;
    const SlotProblem problem = random_problem(recipe, draw);
    const std::vector<SlotChoice> brief = search_slots(problem, {0.01, 0.005, Deadline::after(0.2)});
    const std::vector<SlotChoice> longer = search_slots(problem, {0.01, 0.005, Deadline::after(1.5)});
    REQUIRE(brief.size() == 7);
    REQUIRE(longer.size() == 7);
    for (std::size_t m = 0; m < brief.size(); ++m) {
      CAPTURE(m);
      REQUIRE(brief[m].admissible);
      CHECK(keeps_stock(problem, brief[m].changes));
      CHECK(judged(problem, brief[m].changes).objective ==
            doctest::Approx(brief[m].objective).epsilon(1e-12));
      // Each bound holds for what the other found.
      CHECK(brief[m].bound <= longer[m].objective * (1.0 + 1e-9));
      CHECK(longer[m].bound <= brief[m].objective * (1.0 + 1e-9));
      if (m > 0) CHECK(brief[m].objective <= brief[m - 1].objective);
      if (m > 0) CHECK(brief[m].bound <= brief[m - 1].bound);
    }
    CHECK(brief[6].objective < brief[0].objective);
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
      const std::vector<SlotChoice> found = search_slots(problem, {0.01, 0.005, Deadline::after(60.0)});
      REQUIRE(found.size() == 7);
      for (std::size_t m = 0; m < found.size(); ++m) {
        CHECK(found[m].changes.size() <= m);
        CHECK(found[m].objective - found[m].bound <= std::max(0.01 * found[m].objective, 0.005) * 1.00001);
        if (m > 0) CHECK(found[m].objective <= found[m - 1].objective);
        if (m > 0) CHECK(found[m].bound <= found[m - 1].bound);
      }
    }
  }
}

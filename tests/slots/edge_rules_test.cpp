// Rules at their edge: the free best choice would break them. Invented problems.
#include <doctest/doctest.h>

#include "bench/slot_families.hpp"
#include "slots/enumeration.hpp"

namespace trimwright::testing {
namespace {

using bench::EdgeRule;

TEST_CASE("choices held to a rule at its edge are proved best") {
  for (const EdgeRule rule :
       {EdgeRule::pieces, EdgeRule::pieces_of_plane, EdgeRule::mass, EdgeRule::neighbours, EdgeRule::alike}) {
    for (const bool fitted : {false, true}) {
      const bench::Family family{2, 36, 6, 12, 8, fitted, false, SlotObjective::worst_ratio, rule};
      CAPTURE(family.name());
      SlotProblem problem = bench::draw_problem(family, 431);
      const double free = search_slots(problem, {0.01, 0.005, bench::processor_limit(30.0)}).back().objective;
      bench::set_at_edge(rule, problem, family.planes);
      const std::vector<SlotChoice> answers =
          search_slots(problem, {0.01, 0.005, bench::processor_limit(30.0)});
      REQUIRE(answers.size() == 9);
      for (const SlotChoice& answer : answers) {
        CHECK(answer.stopped != SlotChoice::Stopped::time_limit);
        CHECK(keeps_slot_rules(problem, answer.changes));
      }
      CHECK(answers.back().objective >= free - 0.015);  // both are known to 1 % or 0.005
    }
  }
}

}  // namespace
}  // namespace trimwright::testing

#include "trimwright/rotor.hpp"

#include <doctest/doctest.h>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Eight slots, weights of 100 and 200 g mm and the stack of two of the first, of which one piece is in
/// stock.
Plane plane_with_a_stack() {
  Plane plane = slotted_plane("spinner", 8, {100.0, 200.0});
  plane.weights[0].stock = 1;
  plane.weights.push_back(stacked(plane.weights[0], plane.weights[0]));
  plane.slots->unusable = {7};
  return plane;
}

FittedWeights holding(const Plane& plane, const std::vector<std::pair<int, std::string>>& slots) {
  FittedWeights fitted;
  for (const auto& [slot, id] : slots) fitted.slots[slot] = catalogue_piece(plane, id).value();
  return fitted;
}

}  // namespace

TEST_CASE("A stack takes its pieces out of the stock") {
  const Plane plane = plane_with_a_stack();
  CHECK(check_possible(plane, holding(plane, {{1, "w1"}})));
  const auto refused = check_possible(plane, holding(plane, {{1, "w1+w1"}}));
  REQUIRE_FALSE(refused);
  CHECK(refused.error().message().find("2 of weight \"w1\"") != std::string::npos);
  CHECK(left_in_stock(plane, {}, plane.weights[2]) == 0);
  CHECK(left_in_stock(plane, {}, plane.weights[0]) == 1);
  CHECK_FALSE(left_in_stock(plane, {}, plane.weights[1]));
}

TEST_CASE("Nothing is fitted in a slot that is unusable or not there") {
  const Plane plane = plane_with_a_stack();
  CHECK_FALSE(check_possible(plane, holding(plane, {{7, "w2"}})));
  CHECK_FALSE(check_possible(plane, holding(plane, {{9, "w2"}})));
  CHECK_FALSE(check_fitting(plane, {}, holding(plane, {{7, "w2"}})));
  CHECK(check_possible(plane, holding(plane, {{8, "w2"}})));
}

TEST_CASE("What the job asks of the weights is kept beside the rules of the planes") {
  Rotor rotor = free_rotor({}, {"A"});
  rotor.planes = {slotted_plane("front", 8, {100.0}), slotted_plane("back", 8, {100.0})};
  const Plane& plane = rotor.planes[0];
  const std::vector<FittedWeights> now{holding(plane, {{1, "w1"}}), holding(plane, {{2, "w1"}})};
  const std::vector<FittedWeights> then{holding(plane, {{1, "w1"}, {3, "w1"}}), now[1]};
  CHECK(check_fitting(rotor, {true, 3, {0, 1}}, now, then));
  CHECK_FALSE(check_fitting(rotor, {true, 2, {0, 1}}, now, then));
  CHECK(check_fitting(rotor, {true, 2, {0}}, now, then));  // the other plane is not counted
  const std::vector<FittedWeights> moved{holding(plane, {{3, "w1"}}), now[1]};
  CHECK(check_fitting(rotor, {false, {}, {}}, now, moved));
  const auto refused = check_fitting(rotor, {true, {}, {}}, now, moved);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().message().find("fitted weights stay") != std::string::npos);
}

TEST_CASE("A plane that breaks a rule already is not judged while it stays as it is") {
  Rotor rotor = free_rotor({}, {"A"});
  rotor.planes = {slotted_plane("front", 8, {100.0, 200.0}), slotted_plane("back", 8, {100.0})};
  rotor.planes[0].weights[0].only_in = {{5}};
  const std::vector<FittedWeights> now{holding(rotor.planes[0], {{1, "w1"}}), {}};
  auto then = now;
  then[1].slots[1] = {"w1", 100.0};
  CHECK(check_fitting(rotor, {}, now, then));
  then[0].slots[2] = {"w2", 200.0};
  CHECK_FALSE(check_fitting(rotor, {}, now, then));
  then[0].slots.erase(1);
  CHECK(check_fitting(rotor, {}, now, then));
}

namespace {

/// The plane with a stack, pieces of 5 and 10 g, and fillers of 20 g mm and 1 g.
Plane plane_with_masses() {
  Plane plane = plane_with_a_stack();
  plane.weights[0].stock.reset();
  plane.filler = {20.0, 1.0};
  plane.weights[0].mass_g = 5.0;
  plane.weights[1].mass_g = plane.weights[2].mass_g = 10.0;
  return plane;
}

bool keeps_rules(const Plane& plane, const std::vector<std::pair<int, std::string>>& then,
                 const std::vector<std::pair<int, std::string>>& now = {}) {
  return check_fitting(plane, holding(plane, now), holding(plane, then)).has_value();
}

}  // namespace

TEST_CASE("A slot holds no more moment and mass than it may, and a weight only where it may be") {
  Plane plane = plane_with_masses();
  plane.rules.max_slot_moment_g_mm = 190.0;
  CHECK(keeps_rules(plane, {{1, "w1"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w2"}}));
  plane.rules.max_slot_moment_g_mm.reset();
  plane.rules.max_slot_mass_g = 9.0;
  CHECK(keeps_rules(plane, {{1, "w1"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w1+w1"}}));
  plane.rules.max_slot_mass_g.reset();
  plane.weights[0].only_in = {{2, 4}};
  CHECK(keeps_rules(plane, {{4, "w1"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w1"}}));
}

TEST_CASE("A plane's pieces and masses are counted with those of stacks and fillers") {
  Plane plane = plane_with_masses();
  plane.rules.max_pieces = 2;
  CHECK(keeps_rules(plane, {{1, "w1+w1"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w1+w1"}, {2, "w2"}}));
  plane.rules.max_pieces.reset();
  plane.rules.max_mass_g = 11.0;  // seven usable slots: w1 and six fillers
  CHECK(keeps_rules(plane, {{1, "w1"}}));
  plane.rules.max_mass_g = 10.9;
  CHECK_FALSE(keeps_rules(plane, {{1, "w1"}}));
}

TEST_CASE("Pairs of slots are kept apart, together and alike") {
  Plane plane = plane_with_masses();
  plane.rules.apart = {{1, 2}};
  CHECK(keeps_rules(plane, {{1, "w1"}, {3, "w1"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w1"}, {2, "w1"}}));
  plane.rules = {};
  plane.rules.together = {{1, 2}};
  CHECK(keeps_rules(plane, {{1, "w1"}, {2, "w2"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w1"}}));
  plane.rules = {};
  plane.rules.alike = {{1, 2}};
  CHECK(keeps_rules(plane, {{1, "w1"}, {2, "w1"}}));
  CHECK_FALSE(keeps_rules(plane, {{1, "w1"}, {2, "w2"}}));
}

TEST_CASE("What is added is judged apart from what it comes to in all") {
  Plane plane = plane_with_masses();
  plane.slots->unusable.clear();
  plane.max_added_moment_g_mm = 81.0;  // w1 in place of a filler of 20
  CHECK(keeps_rules(plane, {{1, "w2"}, {5, "w1"}}, {{1, "w2"}}));
  plane.max_added_moment_g_mm = 79.0;
  CHECK_FALSE(keeps_rules(plane, {{1, "w2"}, {5, "w1"}}, {{1, "w2"}}));
  plane.max_added_moment_g_mm.reset();
  plane.max_total_moment_g_mm = 101.0;  // 200 - 20 at slot 1, 80 less on the other side
  CHECK(keeps_rules(plane, {{1, "w2"}, {5, "w1"}}, {{1, "w2"}}));
  plane.max_total_moment_g_mm = 99.0;
  CHECK_FALSE(keeps_rules(plane, {{1, "w2"}, {5, "w1"}}, {{1, "w2"}}));
}

TEST_CASE("What is left in stock counts what is fitted") {
  Plane plane = plane_with_a_stack();
  plane.weights[0].stock = 5;
  const auto fitted = holding(plane, {{1, "w1"}, {2, "w1+w1"}});
  CHECK(left_in_stock(plane, fitted, plane.weights[0]) == 2);
  CHECK(left_in_stock(plane, fitted, plane.weights[2]) == 1);
}

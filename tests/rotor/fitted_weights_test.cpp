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
  Weight stack = plane.weights[0];
  stack.id = "w1+w1";
  stack.moment_g_mm = 200.0;
  stack.stock.reset();
  stack.stack_of = {"w1", "w1"};
  plane.weights.push_back(stack);
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

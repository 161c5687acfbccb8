#include <doctest/doctest.h>

#include <limits>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Which of the sensors "front", "rear" and "rear turbine" have open limits, as the list says.
std::vector<bool> open_by(const std::vector<std::string>& to_confirm) {
  Rotor rotor = free_rotor({"fan"}, {"front", "rear", "rear turbine"});
  rotor.to_confirm = to_confirm;
  std::vector<bool> open;
  for (const auto& sensor : rotor.sensors) open.push_back(limits_open(rotor, sensor));
  return open;
}

}  // namespace

TEST_CASE("Limits that are listed to confirm are open, those of one sensor by its name") {
  CHECK(open_by({}) == std::vector{false, false, false});
  CHECK(open_by({"teeth", "slot numbering of fan"}) == std::vector{false, false, false});
  CHECK(open_by({"limits"}) == std::vector{true, true, true});
  CHECK(open_by({"limits of rear"}) == std::vector{false, true, false});
  CHECK(open_by({"teeth", "Limits of front", "limits of rear turbine"}) == std::vector{true, false, true});
}

TEST_CASE("Where it is not sure whose limits are meant, those of every sensor are open") {
  CHECK(open_by({"limits of front and rear"}) == std::vector{true, true, true});
  CHECK(open_by({"limits above 90 %"}) == std::vector{true, true, true});
}

TEST_CASE("A limit that is not given is open whatever the list says") {
  Rotor rotor = free_rotor({"fan"}, {"front"});
  rotor.sensors[0].bands = {{3000.0, 1.0, {}}, {std::numeric_limits<double>::infinity(), 2.0, {}}};
  CHECK_FALSE(limits_open(rotor, rotor.sensors[0]));
  rotor.sensors[0].bands.back().limit = std::numeric_limits<double>::infinity();
  CHECK(limits_open(rotor, rotor.sensors[0]));
}

TEST_CASE("A target is above zero and not above its limit") {
  CHECK(check_target({3000.0, 1.0, {}}));
  CHECK(check_target({3000.0, 1.0, 1.0}));
  CHECK_FALSE(check_target({3000.0, 1.0, 1.1}));
  CHECK_FALSE(check_target({3000.0, 1.0, 0.0}));
}

#include "virtual_rotor/demonstration.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "virtual_rotor/response.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

TEST_CASE("the same seed gives the same member of a family, another seed another") {
  const VirtualRotor nominal = demonstration_rotor();
  const VirtualRotor a = family_member(nominal, {}, 7), b = family_member(nominal, {}, 7);
  const VirtualRotor c = family_member(nominal, {}, 8);
  CHECK(a.supports[0].stiffness == b.supports[0].stiffness);
  CHECK(a.as_found[2].moment == b.as_found[2].moment);
  CHECK(a.supports[0].stiffness != c.supports[0].stiffness);
  CHECK(a.as_found[2].moment != c.as_found[2].moment);
}

TEST_CASE("a family without spread is one rotor") {
  const VirtualRotor nominal = demonstration_rotor();
  const VirtualRotor same = family_member(nominal, {0.0, 0.0, 0.0, 0.0, 0.0, false}, 3);
  const auto a = assemble(nominal), b = assemble(same);
  REQUIRE(a);
  REQUIRE(b);
  CHECK(speed_response(*a, 3000.0).influence == speed_response(*b, 3000.0).influence);
  CHECK(speed_response(*a, 3000.0).as_found == speed_response(*b, 3000.0).as_found);
}

TEST_CASE("a family spreads as asked, and every member is a rotor that can be") {
  const VirtualRotor nominal = demonstration_rotor();
  FamilySpread spread;
  constexpr int members = 2000;
  double stiffness = 0.0, unbalance = 0.0;
  for (int i = 0; i < members; ++i) {
    const VirtualRotor member = family_member(nominal, spread, static_cast<std::uint64_t>(i));
    REQUIRE(check(member));
    stiffness +=
        std::pow(std::log(member.supports[0].stiffness(0, 0) / nominal.supports[0].stiffness(0, 0)), 2);
    unbalance += std::norm(member.as_found[0].moment) / std::norm(nominal.as_found[0].moment);
  }
  // Relative standard errors of these mean squares over 2000 members: sqrt(2/2000) = 3.2 % and 2.2 %; 4.5 of
  // them.
  CHECK(stiffness / members ==
        doctest::Approx(spread.support_stiffness * spread.support_stiffness).epsilon(0.14));
  CHECK(unbalance / members == doctest::Approx(1.0).epsilon(0.1));
}

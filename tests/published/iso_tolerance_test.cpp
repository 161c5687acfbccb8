// ISO 21940-11: permissible residual specific unbalance. The anchor "G 6.3 at 3000 rpm gives 20 g mm/kg" and
// the diagram's other round values are quoted from memory of the standard's figure 2 and of its worked
// example.
#include <doctest/doctest.h>

#include <algorithm>

#include "trimwright/rotor.hpp"

using trimwright::permissible_specific_unbalance;

TEST_CASE("G 6.3 at 3000 rpm permits 20 g mm per kg") {
  CHECK(permissible_specific_unbalance(6.3, 3000.0) == doctest::Approx(20.05).epsilon(1e-3));
}

TEST_CASE("Grades and speeds of the standard's diagram") {
  // e_per = G / Omega: one decade in grade or speed is one decade in e_per.
  CHECK(permissible_specific_unbalance(2.5, 3000.0) == doctest::Approx(7.96).epsilon(1e-3));
  CHECK(permissible_specific_unbalance(1.0, 9550.0) == doctest::Approx(1.0).epsilon(1e-3));
  CHECK(permissible_specific_unbalance(16.0, 955.0) == doctest::Approx(160.0).epsilon(1e-3));
  CHECK(permissible_specific_unbalance(40.0, 1500.0) == doctest::Approx(254.6).epsilon(1e-3));
  CHECK(permissible_specific_unbalance(0.4, 60000.0) == doctest::Approx(0.0637).epsilon(1e-3));
}

TEST_CASE("Neighbouring grades differ by a factor of about 2.5") {
  const auto& grades = trimwright::balance_quality_grades();
  CHECK(std::find(grades.begin(), grades.end(), 6.3) != grades.end());
  REQUIRE(grades.size() == 11);
  for (std::size_t i = 1; i < grades.size(); ++i)
    CHECK(grades[i - 1] / grades[i] == doctest::Approx(2.5).epsilon(0.02));
}

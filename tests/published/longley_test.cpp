// J. W. Longley's regression (*J. Amer. Statist. Assoc.* 62 (1967)) as the Statistical Reference Datasets of
// NIST certify it: the least squares, posterior and review that fit influence coefficients, on a set known
// for its collinear columns. Data: the copy in Debian's python3-statsmodels 0.13.5; certified values from
// memory, in agreement with statsmodels 0.13.5 to all nine digits that it prints. Leverages and studentised
// residuals: OLSInfluence of statsmodels 0.13.5.

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <numbers>

#include "job_builder.hpp"
#include "some.hpp"
#include "trimwright/review.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

struct Year {
  double employed;
  std::array<double, 6> x;
};

constexpr std::array<Year, 16> years{{{60323, {83.0, 234289, 2356, 1590, 107608, 1947}},
                                      {61122, {88.5, 259426, 2325, 1456, 108632, 1948}},
                                      {60171, {88.2, 258054, 3682, 1616, 109773, 1949}},
                                      {61187, {89.5, 284599, 3351, 1650, 110929, 1950}},
                                      {63221, {96.2, 328975, 2099, 3099, 112075, 1951}},
                                      {63639, {98.1, 346999, 1932, 3594, 113270, 1952}},
                                      {64989, {99.0, 365385, 1870, 3547, 115094, 1953}},
                                      {63761, {100.0, 363112, 3578, 3350, 116219, 1954}},
                                      {66019, {101.2, 397469, 2904, 3048, 117388, 1955}},
                                      {67857, {104.6, 419180, 2822, 2857, 118734, 1956}},
                                      {68169, {108.4, 442769, 2936, 2798, 120445, 1957}},
                                      {66513, {110.8, 444546, 4681, 2637, 121950, 1958}},
                                      {68655, {112.6, 482704, 3813, 2552, 123366, 1959}},
                                      {69564, {114.2, 502601, 3931, 2514, 125368, 1960}},
                                      {69331, {115.7, 518173, 4806, 2572, 127852, 1961}},
                                      {70551, {116.9, 554894, 4007, 2827, 130081, 1962}}}};

constexpr std::array<double, 7> certified{-3482258.63459582, 15.0618722713733,  -0.0358191792925910,
                                          -2.02022980381683, -1.03322686717359, -0.0511041056535807,
                                          1829.15146461355};
constexpr std::array<double, 7> certified_sd{890420.383607373,  84.9149257747669,  0.0334910077722432,
                                             0.488399681651699, 0.214274163161675, 0.226073200069370,
                                             455.478499142212};
constexpr double residual_sd = 304.854073561965;

/// Sixteen runs of one sensor, a plane for each regressor, every moment at rotor angle 0.
Job longley() {
  Rotor rotor = free_rotor({"1", "2", "3", "4", "5", "6"}, {"employed"}, PhaseConvention::lead);
  rotor.sensors[0].bands = {{10000.0, 1e5, {}}};
  rotor.sensors[0].repeatability = residual_sd;
  rotor.sensors[0].run_to_run = 0.0;
  std::vector<Run> runs;
  for (const auto& year : years) {
    std::vector<std::vector<FreePiece>> pieces;
    for (const double x : year.x) pieces.push_back({{x, RotorAngle{}}});
    runs.push_back(
        run_of(rotor, std::to_string(static_cast<int>(year.x[5])), pieces, {{year.employed, 0.0}}));
  }
  return job_of(rotor, runs);
}

}  // namespace

TEST_CASE("Least squares and posterior give Longley's certified regression") {
  const auto settled = settle_and_fit(longley());
  REQUIRE(settled);
  const auto& row = settled->model.rows.at(0);
  CHECK(row.baseline.real() == doctest::Approx(certified[0]).epsilon(1e-7));
  for (std::size_t k = 0; k < 6; ++k) {
    CHECK(row.coefficients(static_cast<Eigen::Index>(k)).real() ==
          doctest::Approx(certified[k + 1]).epsilon(1e-7));
    // The same size stated for a reading, so the standard error is the certified one.
    CHECK(*coefficient_sd(settled->model, row, k) == doctest::Approx(certified_sd[k + 1]).epsilon(1e-6));
  }
  // 16 - 7 spare readings, each real here.
  double squares = 0.0;
  for (const auto& one : row.fit) squares += std::norm(one.read - one.fitted);
  CHECK(std::sqrt(squares / row.spare) == doctest::Approx(residual_sd).epsilon(1e-7));
  const auto& posterior = *settled->model.posterior;
  CHECK(posterior.unknowns.at(posterior.entry(0, 0)).real() == doctest::Approx(certified[0]).epsilon(1e-6));
  CHECK(std::sqrt(posterior.unknowns.covariance(0, 0)) == doctest::Approx(certified_sd[0]).epsilon(1e-6));
}

TEST_CASE("Leverage and studentised residuals of Longley's regression are those of statsmodels") {
  constexpr std::array<double, 16> leverage{
      0.42453693, 0.5649783,  0.36207471, 0.37222778, 0.61551109, 0.36957363, 0.49153154, 0.50465615,
      0.45711704, 0.33061521, 0.35988157, 0.48312413, 0.37430841, 0.22837847, 0.37287041, 0.6886146};
  constexpr std::array<double, 16> studentised{
      1.15601444, -0.46756802, 0.19010069,  -1.69790038, 1.63842949,  -1.0299891,  -0.75465675, -0.06143018,
      0.06368481, 1.82581795,  -0.07080162, -0.17819355, -0.64505654, -0.31991988, 1.41634313,  -1.21540447};
  const auto settled = settle_and_fit(longley());
  REQUIRE(settled);
  REQUIRE(settled->model.posterior->noise.widened == 1.0);
  const auto review = review_influence(settled->job, settled->model);
  REQUIRE(review.readings.size() == 16);
  for (const auto& one : some(review.readings)) {
    CHECK(one.leverage == doctest::Approx(leverage[one.run]).epsilon(1e-6));
    CHECK(*one.studentised == doctest::Approx(std::abs(studentised[one.run])).epsilon(1e-5));
  }
}

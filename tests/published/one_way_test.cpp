// Yields of dyestuff [grams of standard colour], six batches of intermediate with five preparations each (O.
// L. Davies and P. L. Goldsmith, *Statistical Methods in Research and Production*, 4th ed. 1972, table 6.1):
// random effects in two levels, as rotors and visits of a rotor are. Expected: the book's analysis of
// variance, and the restricted maximum likelihood that D. Bates tells of the same data (*lme4: Mixed-effects
// modeling with R*, chapter 1). Data and figures from memory.

#include <doctest/doctest.h>

#include <array>
#include <cmath>

#include "influence/variance_components.hpp"

using namespace trimwright;

namespace {

constexpr std::array<std::array<double, 5>, 6> yields{{{1545, 1440, 1440, 1520, 1580},
                                                       {1540, 1555, 1490, 1560, 1495},
                                                       {1595, 1550, 1605, 1510, 1560},
                                                       {1445, 1440, 1595, 1465, 1545},
                                                       {1595, 1630, 1515, 1635, 1625},
                                                       {1520, 1455, 1450, 1480, 1445}}};

/// Between batches, then between preparations of one.
std::vector<ComponentBlock> batches() {
  std::vector<ComponentBlock> blocks;
  for (const auto& batch : yields) {
    ComponentBlock block;
    block.y = Eigen::Map<const Eigen::VectorXd>(batch.data(), 5);
    block.x = Eigen::MatrixXd::Ones(5, 1);
    block.fixed = Eigen::MatrixXd::Zero(5, 5);
    block.parts = {Eigen::MatrixXd::Ones(5, 5), Eigen::MatrixXd::Identity(5, 5)};
    blocks.push_back(block);
  }
  return blocks;
}

}  // namespace

TEST_CASE("The dyestuff has the published scatter between batches and within them, and the published mean") {
  const auto fit =
      restricted_likelihood(batches(), Eigen::Vector2d(1000.0, 1000.0), Eigen::Vector2d(0.0, 1.0));
  REQUIRE(fit.converged);
  CHECK(std::abs(fit.variances(0) - 1764.05) < 0.01);
  CHECK(std::abs(fit.variances(1) - 2451.25) < 0.01);
  CHECK(std::abs(fit.mean(0) - 1527.5) < 1e-6);
  CHECK(std::abs(std::sqrt(fit.mean_covariance(0, 0)) - 19.383) < 5e-4);
  // Of the mean square within, 24 degrees: 2 sigma^4 / 24.
  CHECK(std::sqrt(fit.covariance(1, 1)) == doctest::Approx(2451.25 / std::sqrt(12.0)).epsilon(1e-4));
}

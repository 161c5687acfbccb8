// The thirteen trials of BCG vaccine (G. A. Colditz et al., *J. Amer. Med. Assoc.* 271 (1994)) through the
// restricted likelihood that pools a fleet. Data: dat.bcg of R's package metadat 1.2 (Debian's
// r-cran-metadat). Expected: W. Viechtbauer, *Conducting meta-analyses in R with the metafor package*, J.
// Statist. Softw. 36(3) (2010), the random-effects model of log relative risks by restricted maximum
// likelihood; from memory.

#include <doctest/doctest.h>

#include <array>
#include <cmath>

#include "influence/variance_components.hpp"

using namespace trimwright;

namespace {

/// Ill and well, vaccinated and not.
constexpr std::array<std::array<double, 4>, 13> trials{{{4, 119, 11, 128},
                                                        {6, 300, 29, 274},
                                                        {3, 228, 11, 209},
                                                        {62, 13536, 248, 12619},
                                                        {33, 5036, 47, 5761},
                                                        {180, 1361, 372, 1079},
                                                        {8, 2537, 10, 619},
                                                        {505, 87886, 499, 87892},
                                                        {29, 7470, 45, 7232},
                                                        {17, 1699, 65, 1600},
                                                        {186, 50448, 141, 27197},
                                                        {5, 2493, 3, 2338},
                                                        {27, 16886, 29, 17825}}};

std::vector<ComponentBlock> log_relative_risks() {
  std::vector<ComponentBlock> blocks;
  for (const auto& [a, b, c, d] : trials) {
    ComponentBlock block;
    block.y = Eigen::VectorXd::Constant(1, std::log(a / (a + b)) - std::log(c / (c + d)));
    block.x = Eigen::MatrixXd::Ones(1, 1);
    block.fixed = Eigen::MatrixXd::Constant(1, 1, 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d));
    block.parts = {Eigen::MatrixXd::Ones(1, 1)};
    blocks.push_back(block);
  }
  return blocks;
}

}  // namespace

TEST_CASE("The pooled BCG trials have the published heterogeneity, mean and standard errors") {
  const auto fit = restricted_likelihood(log_relative_risks(), Eigen::VectorXd::Constant(1, 0.1),
                                         Eigen::VectorXd::Zero(1));
  REQUIRE(fit.converged);
  CHECK(std::abs(fit.variances(0) - 0.3132) < 5e-5);
  CHECK(std::abs(std::sqrt(fit.covariance(0, 0)) - 0.1664) < 5e-5);
  CHECK(std::abs(fit.mean(0) + 0.7145) < 5e-5);
  CHECK(std::abs(std::sqrt(fit.mean_covariance(0, 0)) - 0.1798) < 5e-5);
}

TEST_CASE("Kept off zero, the heterogeneity is larger, and is not zero where the trials agree") {
  const Eigen::VectorXd start = Eigen::VectorXd::Constant(1, 0.1),
                        least = Eigen::VectorXd::Constant(1, 1e-10);
  auto blocks = log_relative_risks();
  CHECK(restricted_likelihood(blocks, start, least, true).variances(0) > 0.3132);
  for (auto& block : blocks) block.y(0) = -0.7;
  CHECK(restricted_likelihood(blocks, start, Eigen::VectorXd::Zero(1)).variances(0) == 0.0);
  CHECK(restricted_likelihood(blocks, start, least, true).variances(0) > 1e-3);
}

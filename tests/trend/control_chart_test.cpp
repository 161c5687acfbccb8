#include "trend/control_chart.hpp"

#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <random>

using namespace trimwright;

namespace {

double phi(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

/// Mean run length of one side's cumulative sum by a Markov chain of `states` states: D. Brook and
/// D. A. Evans, *Biometrika* 59 (1972).
double chain_run_length(double k, double h, double shift, int states = 200) {
  const double width = 2.0 * h / (2.0 * states - 1.0);
  Eigen::MatrixXd stay(states, states);
  for (int i = 0; i < states; ++i)
    for (int j = 0; j < states; ++j) {
      const double to = j * width - i * width + k - shift;
      stay(i, j) = phi(to + 0.5 * width) - (j == 0 ? 0.0 : phi(to - 0.5 * width));
    }
  const Eigen::MatrixXd left = Eigen::MatrixXd::Identity(states, states) - stay;
  return left.lu().solve(Eigen::VectorXd::Ones(states))(0);
}

double both_sides(double k, double h, double shift) {
  return 1.0 / (1.0 / cusum_run_length(k, h, shift) + 1.0 / cusum_run_length(k, h, -shift));
}

}  // namespace

TEST_CASE("cumulative sums run as long as the tables say") {
  // D. C. Montgomery, Introduction to Statistical Quality Control, mean run lengths of the two-sided
  // cumulative sum with k = 1/2, h = 4 and 5, of values shifted by 0, 1 and 2 (from memory).
  const struct {
    double h, shift, length;
  } table[] = {{4, 0, 168}, {4, 1, 8.38}, {4, 2, 3.34}, {5, 0, 465}, {5, 1, 10.4}, {5, 2, 4.01}};
  for (const auto& row : table) {
    CAPTURE(row.h);
    CAPTURE(row.shift);
    CHECK(both_sides(0.5, row.h, row.shift) == doctest::Approx(row.length).epsilon(0.03));
    const double chain = 1.0 / (1.0 / chain_run_length(0.5, row.h, row.shift) +
                                1.0 / chain_run_length(0.5, row.h, -row.shift));
    CHECK(chain == doctest::Approx(row.length).epsilon(0.01));
  }
}

TEST_CASE("the limit of a cumulative sum holds its mean run length at the k and lengths that are used") {
  for (const double k : {0.5, 0.75, 1.0})
    for (const double length : {3e4, 3e5, 3e6}) {
      CAPTURE(k);
      CAPTURE(length);
      const double h = cusum_limit(k, length);
      CHECK(cusum_run_length(k, h, 0.0) == doctest::Approx(length));
      CHECK(chain_run_length(k, h, 0.0) == doctest::Approx(length).epsilon(0.1));
    }
}

TEST_CASE("a cumulative sum of random values runs as long as its mean says") {
  std::mt19937_64 random(20311);
  std::normal_distribution<double> normal;
  double values = 0.0;
  const int runs = 4000;
  for (int run = 0; run < runs; ++run) {
    Cusum sum;
    do {
      sum.add(normal(random), 0.5);
      values += 1.0;
    } while (sum.most() <= 4.0);
  }
  CHECK(values / runs == doctest::Approx(168.0).epsilon(0.06));  // its standard error is 1.6 %
}

TEST_CASE("a score is as rare as Fisher's F says, and as its limit says") {
  using boost::math::complement;
  for (const double freedom : {2.0, 7.0, 30.0, 1e4})
    for (const double t : {0.1, 1.0, 3.0, 12.0}) {
      CAPTURE(freedom);
      CAPTURE(t);
      const auto score = normal_score(std::polar(t, 0.7), freedom);
      const double chance = boost::math::cdf(complement(boost::math::fisher_f(2.0, freedom), 0.5 * t * t));
      CHECK(boost::math::cdf(complement(boost::math::chi_squared(2.0), std::norm(score))) ==
            doctest::Approx(chance).epsilon(1e-9));
      CHECK(std::abs(score) == doctest::Approx(score_limit(chance)));
      CHECK(std::arg(score) == doctest::Approx(0.7));
    }
  CHECK(normal_score(5.0, 0.0) == 0.0);
  CHECK(normal_score(0.0, 5.0) == 0.0);
  CHECK(score_limit(0.05) == doctest::Approx(std::sqrt(5.991)).epsilon(1e-4));  // chi-squared's, from memory
}

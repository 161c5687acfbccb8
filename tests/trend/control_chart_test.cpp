#include "trend/control_chart.hpp"

#include <doctest/doctest.h>

#include <Eigen/Dense>
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

TEST_CASE("the limit of T squared has the chance it was asked for, of normal readings") {
  CHECK(t_squared_limit(2, std::numeric_limits<double>::infinity(), 0.05) ==
        doctest::Approx(-2.0 * std::log(0.05)));  // chi-squared of two degrees, exactly
  CHECK(t_squared_limit(1, 10.0, 0.05) == doctest::Approx(2.228139 * 2.228139).epsilon(1e-6));  // Student's t
  CHECK(t_squared_chance(t_squared_limit(8, 30.0, 1e-5), 8, 30.0) == doctest::Approx(1e-5));
}

TEST_CASE("a normal score is as far out as Student's t") {
  CHECK(normal_score(2.228139, 10.0) == doctest::Approx(1.959964).epsilon(1e-5));
  CHECK(normal_score(-2.228139, 10.0) == doctest::Approx(-1.959964).epsilon(1e-5));
  CHECK(normal_score(3.0, std::numeric_limits<double>::infinity()) == 3.0);
  CHECK(normal_score(1e9, 50.0) > 20.0);
}

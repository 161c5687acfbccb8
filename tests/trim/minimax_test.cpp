#include "trimwright/trim.hpp"

#include <doctest/doctest.h>

#include <random>

using namespace trimwright;

namespace {

ContinuousProblem random_problem(std::mt19937& random, int rows, int planes) {
  std::normal_distribution<double> normal;
  ContinuousProblem problem{Eigen::VectorXcd(rows), Eigen::MatrixXcd(rows, planes), {}};
  for (int i = 0; i < rows; ++i) {
    problem.residual(i) = {normal(random), normal(random)};
    for (int p = 0; p < planes; ++p)
      problem.response(i, p) = 1e-3 * std::complex<double>(normal(random), normal(random));
  }
  return problem;
}

bool within(const ContinuousProblem& problem, const Eigen::VectorXcd& u) {
  for (const auto& limit : problem.moment_limits)
    if (std::abs(u(limit.plane) + limit.offset) > limit.radius * (1.0 + 1e-9)) return false;
  return true;
}

}  // namespace

TEST_CASE("Two readings and one plane: the worst case is split evenly") {
  // x1 = 1 - u, x2 = -1 - 3u... the largest is smallest where both are equal: u = -0.5 gives 1.5 and 0.5; the
  // crossing |1 - u| = |-1 - 3u| on the real line lies at u = 0 (1 and 1) and u = -1 (2 and 2).
  ContinuousProblem problem{Eigen::VectorXcd(2), Eigen::MatrixXcd(2, 1), {}};
  problem.residual << 1.0, -1.0;
  problem.response << -1.0, -3.0;
  const auto best = minimise_worst_ratio(problem);
  CHECK(best.status == SolveStatus::solved);
  CHECK(best.objective == doctest::Approx(1.0).epsilon(1e-8));
  CHECK(std::abs(best.moments(0)) < 1e-6);
}

TEST_CASE("The certificate closes on random problems, and no random point beats it") {
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  for (int trial = 0; trial < 60; ++trial) {
    auto problem = random_problem(random, 1 + trial % 14, 1 + trial % 4);
    if (trial % 3 == 0)
      for (int p = 0; p < problem.response.cols(); ++p)
        problem.moment_limits.push_back({p, {80.0 * normal(random), 80.0 * normal(random)}, 300.0});
    const auto best = minimise_worst_ratio(problem);
    CAPTURE(trial);
    REQUIRE(best.status == SolveStatus::solved);
    CHECK(within(problem, best.moments));
    CHECK(best.objective ==
          doctest::Approx((problem.residual + problem.response * best.moments).cwiseAbs().maxCoeff()));
    CHECK(best.bound <= best.objective);
    CHECK(best.objective - best.bound < 1e-6);
    CHECK(best.weights.minCoeff() >= 0.0);
    CHECK(best.weights.sum() == doctest::Approx(1.0));
    for (int probe = 0; probe < 50; ++probe) {
      Eigen::VectorXcd u = best.moments;
      for (Eigen::Index p = 0; p < u.size(); ++p)
        u(p) += std::complex<double>(normal(random), normal(random)) * (probe % 2 == 0 ? 300.0 : 3.0);
      if (within(problem, u))
        CHECK((problem.residual + problem.response * u).cwiseAbs().maxCoeff() >= best.bound - 1e-9);
    }
  }
}

TEST_CASE("Least squares under a moment limit ends on the limit and is certified") {
  ContinuousProblem problem{Eigen::VectorXcd(2), Eigen::MatrixXcd(2, 1), {{0, 0.0, 100.0}}};
  problem.residual << 1.0, std::complex<double>(0.0, 1.0);
  problem.response << 1e-3, std::complex<double>(0.0, 1e-3);
  const auto best = minimise_least_squares(problem);
  CHECK(std::abs(best.moments(0) + 100.0) < 1e-4);
  CHECK(best.objective == doctest::Approx(0.9 * std::sqrt(2.0)).epsilon(1e-6));
  CHECK(best.objective - best.bound < 1e-6);
}

TEST_CASE("Limits that exclude each other are told, not violated") {
  ContinuousProblem problem{
      Eigen::VectorXcd(1), Eigen::MatrixXcd(1, 1), {{0, 0.0, 100.0}, {0, -500.0, 100.0}}};
  problem.residual << 1.0;
  problem.response << 1e-3;
  CHECK(minimise_worst_ratio(problem).status == SolveStatus::no_admissible_moment);
  CHECK(minimise_least_squares(problem).status == SolveStatus::no_admissible_moment);
  problem.moment_limits[1].offset = -150.0;  // now they overlap between 50 and 100
  const auto best = minimise_worst_ratio(problem);
  CHECK(best.status == SolveStatus::solved);
  CHECK(best.moments(0).real() == doctest::Approx(50.0).epsilon(1e-5));
}

TEST_CASE("Planes that act alike still give a certified answer of moderate size") {
  std::mt19937 random(3);
  auto problem = random_problem(random, 6, 2);
  problem.response.col(1) = problem.response.col(0) * std::complex<double>(0.3, 0.7);
  const auto best = minimise_worst_ratio(problem);
  CHECK(best.status == SolveStatus::solved);
  CHECK(best.moments.cwiseAbs().maxCoeff() < 1e5);
}

TEST_CASE("Planes that act alike to one part in ten million: the bound stays below what moments reach") {
  // Columns a and a + 1e-7 d reach what a and d reach, with 1e7 times the moment: that problem is well
  // conditioned, and its solution is a point of the other, found without it.
  std::mt19937 random(5);
  for (int trial = 0; trial < 20; ++trial) {
    const auto apart = random_problem(random, 3 + trial % 4, 2);
    auto alike = apart;
    alike.response.col(1) = apart.response.col(0) + 1e-7 * apart.response.col(1);
    const auto reached = minimise_worst_ratio(apart);
    REQUIRE(reached.status == SolveStatus::solved);
    const Eigen::Vector2cd point(reached.moments(0) - 1e7 * reached.moments(1), 1e7 * reached.moments(1));
    const double there = (alike.residual + alike.response * point).cwiseAbs().maxCoeff();
    CAPTURE(trial);
    CHECK(there == doctest::Approx(reached.objective).epsilon(1e-6));
    const auto best = minimise_worst_ratio(alike);
    CHECK(best.bound <= there + 1e-7);
    CHECK(best.objective == doctest::Approx(there).epsilon(1e-6));
    alike.moment_limits = {{0, 0.0, 1e12}, {1, 0.0, 1e12}};  // too far to matter, and yet certified otherwise
    CHECK(minimise_worst_ratio(alike).bound <= there + 1e-7);
    CHECK(minimise_least_squares(alike).bound <= (alike.residual + alike.response * point).norm() + 1e-7);
  }
}

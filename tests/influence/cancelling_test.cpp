#include "influence/cancelling.hpp"

#include <doctest/doctest.h>

#include <boost/math/distributions/chi_squared.hpp>

#include "cancelling_world.hpp"
#include "influence/quadratic.hpp"
#include "some.hpp"

using namespace trimwright;
using namespace trimwright::testing;
using Eigen::Index;

namespace {

InfluencePosterior believed(const Job& job) {
  auto posterior = influence_posterior(job, {}, nullptr, Residual::small);
  REQUIRE(posterior);
  return *std::move(posterior);
}

CancellingRotor measured(const World& world, Draws& draws) {
  CancellingRotor rotor(world, draws, random_type(world, draws), 0.0);
  rotor.usual_runs();
  return rotor;
}

}  // namespace

TEST_CASE("The covariance of x(V) is T S T^T, however few columns it is written with") {
  constexpr Index rows = 4, entries = 4, unknowns = 2 * rows * entries, directions = 2 * entries - 1;
  Eigen::MatrixXd any(unknowns, unknowns), of_rows(2 * rows, 2 * rows), of_one(entries, entries);
  for (Index i = 0; i < unknowns; ++i)
    for (Index k = 0; k < unknowns; ++k)
      any(i, k) = std::sin(1.0 + 3.0 * static_cast<double>(i) + static_cast<double>(k * k));
  of_rows = any.topLeftCorner(2 * rows, 2 * rows);
  of_one = any.bottomRightCorner(entries, entries);
  const Eigen::MatrixXd alike_rows = of_rows * of_rows.transpose(), alike_one = of_one * of_one.transpose();
  Eigen::MatrixXd one_factor(unknowns, unknowns);  // rows read in the same runs
  const auto row = [](Index i) { return 2 * (i / (2 * entries)) + i % 2; };
  const auto entry = [](Index i) { return i % (2 * entries) / 2; };
  for (Index i = 0; i < unknowns; ++i)
    for (Index k = 0; k < unknowns; ++k)
      one_factor(i, k) = alike_rows(row(i), row(k)) * alike_one(entry(i), entry(k));
  Eigen::VectorXd e(directions);
  e << 1.0, 0.3, -0.7, 1.1, 0.2, -0.4, 0.9;
  Eigen::MatrixXd to_x = Eigen::MatrixXd::Zero(2 * rows, unknowns);
  for (Index k = 0; k < 2 * rows; ++k)
    for (Index a = 0; a < directions; ++a) {
      const auto [at, sign] = source(a, k, entries);
      to_x(k, at) += sign * e(a);
    }
  const std::vector<Eigen::MatrixXd> covariances{any * any.transpose(), one_factor,
                                                 Eigen::MatrixXd::Zero(unknowns, unknowns)};
  for (const auto& covariance : covariances) {
    const Quadratic known =
        quadratic_of({Eigen::VectorXd::Zero(unknowns), covariance, {}, 0.0}, {0, 1, 2, 3}, entries);
    const Eigen::MatrixXd expected = to_x * covariance * to_x.transpose(),
                          spread = known.spread(products_of(e));
    const Eigen::MatrixXd off = (spread - expected).triangularView<Eigen::Lower>();
    CHECK(off.cwiseAbs().maxCoeff() <= 1e-12 * std::max(1.0, expected.cwiseAbs().maxCoeff()));
  }
  const Quadratic few =
      quadratic_of({Eigen::VectorXd::Zero(unknowns), one_factor, {}, 0.0}, {0, 1, 2, 3}, entries);
  CHECK(few.left.cols() < directions * (directions + 1) / 2);
}

TEST_CASE("Chains that agree are told from chains that do not") {
  Draws draws{boost::random::mt19937_64(3)};
  Eigen::MatrixXd chains(500, 4);
  for (double& one : chains.reshaped()) one = draws.normal(1.0).real();
  const auto good = convergence_of(chains);
  CHECK(good.split_r_hat < 1.01);
  CHECK(good.effective_draws == doctest::Approx(2000.0).epsilon(0.2));
  chains.col(2).array() += 1.0;
  CHECK(convergence_of(chains).split_r_hat > 1.05);
  // An autoregression of 0.9 is worth (1 - 0.9) / (1 + 0.9) of its length.
  for (Index c = 0; c < 4; ++c)
    for (Index i = 0; i < 500; ++i)
      chains(i, c) = (i > 0 ? 0.9 * chains(i - 1, c) : 0.0) + draws.normal(1.0).real();
  CHECK(convergence_of(chains).effective_draws < 250.0);
}

TEST_CASE("The draws agree with each other, and say what a run would read where it was run") {
  World world;
  Draws draws{boost::random::mt19937_64(4)};
  const auto rotor = measured(world, draws);
  const auto belief = believed(rotor.job);
  REQUIRE(belief.draws);
  CHECK(belief.draws->split_r_hat < 1.05);
  CHECK(belief.draws->effective_draws > 100.0);
  const auto plain = influence_posterior(rotor.job);
  REQUIRE(plain);
  // What X0 = -C V + d adds never contradicts the readings: means lie within three standard errors.
  REQUIRE(plain->unknowns.mean.size() > 0);
  for (Index k = 0; k < plain->unknowns.mean.size(); ++k)
    CHECK(std::abs(belief.unknowns.mean(k) - plain->unknowns.mean(k)) <
          4.0 * std::sqrt(plain->unknowns.covariance(k, k)));
}

TEST_CASE("Where almost nothing is left after a trim the chains go on until they agree") {
  World world;
  world.left = 0.005;
  Draws draws{boost::random::mt19937_64(11)};
  int agree = 0;
  for (int job = 0; job < 40; ++job) {
    const auto belief = believed(measured(world, draws).job);
    REQUIRE(belief.draws);
    agree += belief.draws->split_r_hat <= agreeing_r_hat;
  }
  CHECK(agree >= 39);  // 34 or so without
}

TEST_CASE("With no more places than planes nothing is supposed of what weights cannot cancel") {
  World world;
  world.rows = 2;
  Draws draws{boost::random::mt19937_64(5)};
  const auto rotor = measured(world, draws);
  const auto belief = believed(rotor.job);
  const auto plain = influence_posterior(rotor.job);
  REQUIRE(plain);
  CHECK_FALSE(belief.draws);
  CHECK(belief.unknowns.mean == plain->unknowns.mean);
  CHECK(belief.unknowns.covariance == plain->unknowns.covariance);
}

TEST_CASE("Where most of the vibration cannot be cancelled the plain posterior comes back") {
  World world;
  world.left = 0.6;
  world.rows = 8;
  Draws draws{boost::random::mt19937_64(6)};
  const auto rotor = measured(world, draws);
  const auto belief = believed(rotor.job);
  const auto plain = influence_posterior(rotor.job);
  REQUIRE(plain);
  CHECK(belief.draws->left.mean() > 0.3);
  REQUIRE(plain->unknowns.mean.size() > 0);
  for (Index k = 0; k < plain->unknowns.mean.size(); ++k) {
    const double sd = std::sqrt(plain->unknowns.covariance(k, k));
    CHECK(std::abs(belief.unknowns.mean(k) - plain->unknowns.mean(k)) < 0.3 * sd);
    CHECK(std::sqrt(belief.unknowns.covariance(k, k)) == doctest::Approx(sd).epsilon(0.15));
  }
}

TEST_CASE("Simulation-based calibration: among its draws the truth has every rank as often") {
  // S. Talts et al., Validating Bayesian inference algorithms with simulation-based calibration (2018):
  // worlds drawn from the stated prior of the size of d; V and C far wider than what is told of them.
  constexpr int worlds = 60, bins = 5;
  Draws draws{boost::random::mt19937_64(7)};
  std::array<std::array<int, bins>, 3> counts{};
  for (int w = 0; w < worlds; ++w) {
    World world;
    world.rows = 6;
    do world.left = std::abs(unknown_left * std::tan(std::numbers::pi * (draws.uniform() - 0.5)));
    while (world.left > 1.0 || world.left < 1e-4);
    const auto rotor = measured(world, draws);
    const auto belief = believed(rotor.job);
    const auto& all = *belief.draws;
    const auto rank = [&](auto value_of_draw, double truth) {
      int below = 0;
      for (Index k = 0; k < all.left.size(); k += 4) below += value_of_draw(k) < truth;
      return std::min(bins - 1, static_cast<int>(bins * below / ((all.left.size() + 3) / 4 + 1)));
    };
    ++counts[0][static_cast<std::size_t>(rank([&](Index k) { return all.left(k); }, world.left))];
    ++counts[1]
            [static_cast<std::size_t>(rank([&](Index k) { return all.unknowns(0, k); }, rotor.x0(0).real()))];
    ++counts[2][static_cast<std::size_t>(
        rank([&](Index k) { return all.unknowns(2, k); }, rotor.c(0, 0).real()))];
  }
  for (const auto& ranks : some(counts)) {
    double chi_squared = 0.0;
    for (const int n : ranks) chi_squared += std::pow(n - worlds / bins, 2) / (worlds / bins);
    const boost::math::chi_squared distribution(bins - 1);
    CHECK(boost::math::cdf(boost::math::complement(distribution, chi_squared)) > 0.001);
  }
}

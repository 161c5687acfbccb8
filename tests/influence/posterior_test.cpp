#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <Eigen/QR>
#include <cmath>

#include "coverage.hpp"
#include "learned_prior.hpp"
#include "trimwright/influence.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Baseline and one trial run in the front plane of a rotor of the type.
Job one_trial(const VirtualFleet& fleet, std::uint64_t seed) {
  FleetDraws draws(seed);
  const FleetRotor rotor = fleet.draw({0.1, 0.05}, {}, draws);
  Eigen::Vector2cd trial(fleet.moment_worth(0.5, 0), 0.0);
  return fleet.job({fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws),
                    fleet.run(rotor, "trial", trial, {}, draws)});
}

/// The type's coefficients as a prior told, not learned.
Prior told_prior(const VirtualFleet& fleet, const FleetSpread& spread) {
  Prior prior;
  prior.rotor = fleet.rotor().name;
  prior.jobs = 30;
  const Job job = one_trial(fleet, 1);
  for (Eigen::Index i = 0; i < fleet.rows(); ++i)
    for (int p = 0; p < 2; ++p)
      prior.coefficients.push_back({job.speeds_rpm[static_cast<std::size_t>(i / 2)],
                                    fleet.rotor().sensors[static_cast<std::size_t>(i % 2)].name,
                                    fleet.rotor().planes[static_cast<std::size_t>(p)].name, "in/s",
                                    fleet.coefficients()(i, p)});
  const double common = spread.common / std::sqrt(2.0), own = spread.own / std::sqrt(2.0);
  prior.scatter.sd = {common, common, own, own};
  prior.mean_covariance = Eigen::MatrixXd::Zero(40, 40);
  return prior;
}

}  // namespace

TEST_CASE("The posterior agrees with conditioning a joint normal distribution") {
  // Independent way: X0 given a very wide normal prior, readings y = A theta + e, and
  // mean = m + S A^T (A S A^T + V)^-1 (y - A m), covariance = S - S A^T (A S A^T + V)^-1 A S.
  const VirtualFleet fleet;
  const Job job = one_trial(fleet, 5);
  const Prior prior = told_prior(fleet, {0.1, 0.05});
  const auto posterior = influence_posterior(job, {}, &prior);
  REQUIRE(posterior);
  REQUIRE(posterior->rows.size() == 10);
  const Eigen::Index n = posterior->unknowns.mean.size();
  REQUIRE(n == 60);
  Eigen::VectorXd m = Eigen::VectorXd::Zero(n);
  Eigen::MatrixXd s = Eigen::MatrixXd::Zero(n, n);
  const auto match = matched(prior, job, *posterior);
  const auto moments = prior_moments(prior, match.prior);
  for (std::size_t i = 0; i < 10; ++i)
    s.diagonal().segment<2>(static_cast<Eigen::Index>(6 * i)).setConstant(100.0);
  for (Eigen::Index a = 0; a < 20; ++a)
    for (Eigen::Index b = 0; b < 20; ++b) {
      const auto at = [&](Eigen::Index k) {
        return 2 * static_cast<Eigen::Index>(match.unknown[static_cast<std::size_t>(k)]);
      };
      m.segment<2>(at(a)) = moments.mean.segment<2>(2 * a);
      s.block<2, 2>(at(a), at(b)) = moments.covariance.block<2, 2>(2 * a, 2 * b);
    }
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(40, n), v = Eigen::MatrixXd::Zero(40, 40);
  Eigen::VectorXd y(40);
  Eigen::Index at = 0;
  for (std::size_t r = 0; r < 2; ++r)
    for (const auto& reading : job.runs[r].readings) {
      const auto row = static_cast<Eigen::Index>(2 * reading.speed + reading.sensor);
      a.block<2, 2>(at, 6 * row).setIdentity();
      a.block<2, 2>(at, 6 * row + 2) = Eigen::Matrix2d::Identity() * run_unbalance(job, r)[0].real();
      y.segment<2>(at) << reading.x->real(), reading.x->imag();
      at += 2;
    }
  const double within = 0.02 / std::sqrt(2.0), run = 0.03 / std::sqrt(2.0);
  for (Eigen::Index i = 0; i < 20; ++i)
    for (Eigen::Index j = 0; j < 20; ++j) {
      const bool same = i / 10 == j / 10 && i % 2 == j % 2;
      v.block<2, 2>(2 * i, 2 * j).diagonal().setConstant((i == j) * within * within + same * run * run);
    }
  const Eigen::MatrixXd total = a * s * a.transpose() + v;
  const Eigen::MatrixXd gain = s * a.transpose() * total.inverse();
  const Eigen::VectorXd mean = m + gain * (y - a * m);
  const Eigen::MatrixXd covariance = s - gain * a * s;
  // The wide prior on X0 (sd 10 against 0.03) shifts means by about 1e-5 of themselves.
  for (Eigen::Index i = 0; i < n; ++i) {
    const double sd = std::sqrt(covariance(i, i));
    CHECK(std::abs(posterior->unknowns.mean(i) - mean(i)) < 1e-3 * sd);
    CHECK(std::sqrt(posterior->unknowns.covariance(i, i)) == doctest::Approx(sd).epsilon(1e-3));
  }
}

TEST_CASE("Without a prior the posterior is the least squares answer") {
  const VirtualFleet fleet;
  Job job = one_trial(fleet, 7);
  const auto posterior = influence_posterior(job);
  const auto model = fit_influence(job);
  REQUIRE(posterior);
  REQUIRE(model);
  for (std::size_t i = 0; i < 10; ++i) {
    CHECK(std::abs(posterior->unknowns.at(posterior->entry(i, 0)) - model->rows[i].baseline) < 1e-12);
    CHECK(std::abs(posterior->unknowns.at(posterior->entry(i, 1)) - model->rows[i].coefficients(0)) <
          1e-9 * std::abs(model->rows[i].coefficients(0)));
  }
}

TEST_CASE("A baseline alone, with a prior, gives a model of every plane; without one it does not") {
  const VirtualFleet fleet;
  Job job = one_trial(fleet, 9);
  job.runs.resize(1);
  job.fitted_now = job.runs[0].fitted;
  CHECK_FALSE(settle_and_fit(job));
  const Prior prior = told_prior(fleet, {0.1, 0.05});
  const auto settled = settle_and_fit(job, {}, &prior);
  REQUIRE(settled);
  CHECK(settled->model.planes.size() == 2);
  CHECK(settled->model.rows.size() == 10);
  CHECK(settled->model.prior);
  CHECK_FALSE(settled->model.prior->fleet);  // nothing of its own to compare
  CHECK(settled->model.runs.mirror.outcome == MirrorTest::Outcome::cannot_tell);
}

TEST_CASE("A prior tells a mirrored reading of phase from one trial run") {
  const VirtualFleet fleet;
  const Prior prior = told_prior(fleet, {0.1, 0.05});
  Job job = one_trial(fleet, 11);
  const auto right = settle_and_fit(job, {}, &prior);
  REQUIRE(right);
  CHECK(right->model.runs.mirror.outcome == MirrorTest::Outcome::supports_given);
  for (auto& run : job.runs)
    for (auto& reading : run.readings) reading.x = std::conj(*reading.x);
  const auto mirrored = settle_and_fit(job, {}, &prior);
  REQUIRE(mirrored);
  CHECK(mirrored->model.runs.mirror.outcome == MirrorTest::Outcome::contradicts);
}

TEST_CASE("A prior of other planes, sensors or speeds is refused") {
  const VirtualFleet fleet;
  Prior prior = told_prior(fleet, {0.1, 0.05});
  for (auto& one : prior.coefficients) one.sensor = "C";
  const auto posterior = influence_posterior(one_trial(fleet, 13), {}, &prior);
  REQUIRE_FALSE(posterior);
  CHECK(posterior.error().what == "the prior shares no coefficient with this job");
}

// 90 % intervals over virtual jobs; the bench certainty_coverage does the same over 10,000 jobs. Standard
// error here: rows of one job share errors, so that 400 jobs are about as good as 2,000 free intervals: 0.7
// %.
TEST_CASE("90 % intervals hold the truth nine times in ten, run-to-run change present") {
  CoverageCase stated;
  CHECK(coverage_of(stated, 400, 3) == doctest::Approx(0.90).epsilon(0.03));
  CoverageCase few = stated;
  few.noise_stated = false;
  CHECK(coverage_of(few, 400, 3) == doctest::Approx(0.90).epsilon(0.03));
  const CoverageCase many{4, 4, false, 1.0, {}, 0.0};
  CHECK(coverage_of(many, 150, 3) == doctest::Approx(0.90).epsilon(0.03));
}

TEST_CASE("Noise stated at half of what it is is found out by redundant runs, and intervals widen") {
  const VirtualFleet fleet;
  FleetDraws draws(17);
  int widened = 0;
  for (int j = 0; j < 20; ++j) {
    const FleetRotor rotor = fleet.draw({0.1, 0.05}, {}, draws);
    std::vector<Run> runs;
    for (int r = 0; r < 6; ++r)
      runs.push_back(fleet.run(rotor, std::to_string(r),
                               Eigen::Vector2cd(r == 5 ? fleet.moment_worth(0.5, 0) : 0.0, 0.0), {}, draws));
    Job job = fleet.job(runs);
    for (auto& sensor : job.rotor.sensors) {
      *sensor.repeatability *= 0.5;
      *sensor.run_to_run *= 0.5;
    }
    const auto posterior = influence_posterior(job);
    REQUIRE(posterior);
    if (posterior->noise.widened > 1.0) {
      ++widened;
      CHECK(posterior->noise.widened == doctest::Approx(2.0).epsilon(0.3));
      CHECK(posterior->noise.degrees_of_freedom == doctest::Approx(80.0));
    }
  }
  CHECK(widened == 20);
}

TEST_CASE("Intervals are Student's t of the table") {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper 5 % and 2.5 % points (from memory).
  struct Row {
    double degrees_of_freedom, of_90, of_95;
  };
  for (const Row& row :
       {Row{1, 6.314, 12.706}, Row{2, 2.920, 4.303}, Row{3, 2.353, 3.182}, Row{5, 2.015, 2.571},
        Row{10, 1.812, 2.228}, Row{30, 1.697, 2.042}, Row{100, 1.660, 1.984},
        Row{std::numeric_limits<double>::infinity(), 1.645, 1.960}}) {
    CHECK(std::abs(interval_factor(0.90, row.degrees_of_freedom) - row.of_90) < 5e-4);
    CHECK(std::abs(interval_factor(0.95, row.degrees_of_freedom) - row.of_95) < 5e-4);
  }
}

TEST_CASE("With a small residual the coefficients leave less vibration than those of least squares") {
  const VirtualFleet fleet;
  FleetDraws draws(64);
  double squares_small = 0.0, squares_any = 0.0;
  for (int r = 0; r < 40; ++r) {
    const FleetRotor rotor = fleet.draw({0.15, 0.08}, {}, draws);
    std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
    for (int p = 0; p < 2; ++p) {
      Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
      trial(p) = fleet.moment_worth(0.48, p);
      runs.push_back(fleet.run(rotor, "trial " + std::to_string(p), trial, {}, draws));
    }
    Job job = fleet.job(runs);
    const auto left = [&] {
      const auto settled = settle_and_fit(job);
      REQUIRE(settled);
      CHECK((settled->model.basis == InfluenceModel::Basis::small_residual) == job.small_residual);
      Eigen::MatrixXcd c(fleet.rows(), 2);
      Eigen::VectorXcd x0(fleet.rows());
      for (Eigen::Index i = 0; i < fleet.rows(); ++i) {
        const auto& row = settled->model.rows.at(static_cast<std::size_t>(i));
        c.row(i) = row.coefficients.transpose();
        x0(i) = row.baseline;
      }
      const Eigen::VectorXcd u = c.householderQr().solve(-x0);
      return (rotor.x0 + rotor.c * u).squaredNorm();
    };
    squares_any += left();
    job.small_residual = true;
    squares_small += left();
  }
  MESSAGE("rms with small residual over rms with any: ", std::sqrt(squares_small / squares_any));
  CHECK(squares_small < 0.9 * squares_any);
}

TEST_CASE("A small residual says nothing where there are no more rows than planes") {
  const VirtualFleet fleet;
  FleetDraws draws(65);
  Job job = three_runs(fleet, {0.15, 0.08}, draws);
  for (auto& run : job.runs) run.readings.resize(2);
  CHECK(settle_and_fit(job));
  job.small_residual = true;
  const auto settled = settle_and_fit(job);
  REQUIRE(!settled);
  CHECK(settled.error().what.find("small residual") != std::string::npos);
}

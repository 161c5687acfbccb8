#include "trimwright/influence/prior.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "learned_prior.hpp"
#include "trimwright/influence/influence_model.hpp"
#include "trimwright/influence/influence_posterior.hpp"
#include "trimwright/io/prior_file.hpp"
#include "trimwright/report/model_warnings.hpp"

using namespace trimwright;
using namespace trimwright::testing;

TEST_CASE("Pooling tells scatter between rotors from the jobs' own error") {
  const VirtualFleet fleet;
  const FleetSpread spread{0.15, 0.08};
  const Prior prior = learned_prior(fleet, spread, 60, 21);
  REQUIRE(prior.coefficients.size() == 20);
  // 60 jobs give the common parts 120 degrees of freedom each (standard error 7 %), the own parts more.
  CHECK(prior.scatter.sd[0] == doctest::Approx(0.15 / std::sqrt(2.0)).epsilon(0.25));
  CHECK(prior.scatter.sd[1] == doctest::Approx(0.15 / std::sqrt(2.0)).epsilon(0.25));
  CHECK(prior.scatter.sd[2] == doctest::Approx(0.08 / std::sqrt(2.0)).epsilon(0.15));
  CHECK(prior.scatter.sd[3] == doctest::Approx(0.08 / std::sqrt(2.0)).epsilon(0.15));
  // Each mean within 4.5 of its own standard errors of the type's.
  for (std::size_t i = 0; i < 20; ++i) {
    const auto& one = prior.coefficients[i];
    const auto row = static_cast<Eigen::Index>(
        2 * std::lround((one.rpm / VirtualFleet::full_rpm - 0.55) * 10) + (one.sensor == "B"));
    const Phasor off = one.mean / fleet.coefficients()(row, one.plane == "rear") - 1.0;
    CHECK(std::abs(off.real()) < 4.5 * std::sqrt(prior.mean_covariance(2 * static_cast<Eigen::Index>(i),
                                                                       2 * static_cast<Eigen::Index>(i))));
  }
}

TEST_CASE("A fleet without scatter is learned as one") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.0, 0.0}, 20, 22);
  for (const double sd : prior.scatter.sd) CHECK(sd < 0.02);
}

TEST_CASE("A scatter learned from three jobs is never zero, and known with few degrees of freedom") {
  const VirtualFleet fleet;
  for (std::uint64_t seed = 40; seed < 50; ++seed) {
    for (const double sd : learned_prior(fleet, {0.03, 0.02}, 3, seed).scatter.sd) CHECK(sd > 1e-3);
    // Two planes and three jobs give the common parts four degrees of freedom.
    CHECK(scatter_degrees_of_freedom(learned_prior(fleet, {0.15, 0.08}, 3, seed)) <= 4.0);
  }
  CHECK(scatter_degrees_of_freedom(learned_prior(fleet, {0.15, 0.08}, 30, 23)) > 40.0);
}

TEST_CASE("Probabilities are widened, and it is said, where the prior comes from few jobs") {
  const VirtualFleet fleet;
  const Prior few = learned_prior(fleet, {0.15, 0.08}, 3, 51),
              many = learned_prior(fleet, {0.15, 0.08}, 30, 51);
  FleetDraws draws(52);
  const Job job = three_runs(fleet, {0.15, 0.08}, draws);
  const auto from_few = settle_and_fit(job, {}, &few), from_many = settle_and_fit(job, {}, &many);
  REQUIRE(from_few);
  REQUIRE(from_many);
  CHECK(from_few->model.belief->unknowns.degrees_of_freedom == scatter_degrees_of_freedom(few));
  CHECK(from_many->model.belief->unknowns.degrees_of_freedom == 16.0);  // ten rows of two planes
  const auto told = [](const SettledModel& settled) {
    const auto warnings = model_warnings(settled.job, settled.model);
    return std::any_of(warnings.begin(), warnings.end(), [](const std::string& warning) {
      return warning.find("jobs only") != std::string::npos;
    });
  };
  CHECK(told(*from_few));
  CHECK_FALSE(told(*from_many));
}

TEST_CASE("Good rotors are flagged at the stated rate, others far more often") {
  const VirtualFleet fleet;
  const FleetSpread spread{0.15, 0.08};
  const Prior prior = learned_prior(fleet, spread, 30, 23);
  FleetDraws draws(24);
  const auto flagged = [&](const FleetSpread& of, int jobs, double level) {
    int count = 0;
    for (int j = 0; j < jobs; ++j) {
      const Job job = three_runs(fleet, of, draws);
      const auto alone = influence_posterior(job);
      REQUIRE(alone);
      const auto check = fleet_check(prior, job, *alone);
      REQUIRE(check);
      CHECK(check->components == 40);
      count += check->probability < level;
    }
    return count;
  };
  // Binomial(300, 0.05): 15 +- 3.8; the fleet of 30 itself is one draw, hence the wider band.
  const int good = flagged(spread, 300, 0.05);
  CHECK(good >= 4);
  CHECK(good <= 32);
  CHECK(flagged({0.45, 0.30}, 20, 0.01) >= 18);
}

TEST_CASE("Too few jobs, another rotor, or a job without trials are refused by name") {
  const VirtualFleet fleet;
  FleetDraws draws(25);
  std::vector<FleetJob> jobs;
  for (int j = 0; j < 3; ++j)
    jobs.push_back({three_runs(fleet, {0.1, 0.05}, draws), "job " + std::to_string(j)});
  CHECK_FALSE(learn_prior({jobs[0], jobs[1]}));
  auto other = jobs;
  other[2].job.rotor.name = "another";
  REQUIRE_FALSE(learn_prior(other));
  CHECK(learn_prior(other).error().what.find("job 2") != std::string::npos);
  auto bare = jobs;
  bare[1].job.runs.resize(1);
  REQUIRE_FALSE(learn_prior(bare));
  CHECK(learn_prior(bare).error().what.find("job 1") != std::string::npos);
}

TEST_CASE("A prior file gives the same prior back") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 5, 26);
  const auto again = parse_prior("prior.yaml", prior_text(prior));
  REQUIRE(again);
  CHECK(again->rotor == prior.rotor);
  CHECK(again->jobs == 5);
  REQUIRE(again->coefficients.size() == prior.coefficients.size());
  for (std::size_t i = 0; i < prior.coefficients.size(); ++i)
    CHECK(std::abs(again->coefficients[i].mean - prior.coefficients[i].mean) <
          1e-14 * std::abs(prior.coefficients[i].mean));
  CHECK((again->mean_covariance - prior.mean_covariance).norm() <= 1e-15 * prior.mean_covariance.norm());
  CHECK((again->scatter.covariance - prior.scatter.covariance).norm() <=
        1e-15 * prior.scatter.covariance.norm());
}

#include "trimwright/prior.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "learned_prior.hpp"
#include "report/model_warnings.hpp"
#include "some.hpp"
#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"

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

TEST_CASE("How far critical speeds differ is a part of the scatter of its own") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.05, 0.03, 0.01}, 40, 27);
  CHECK(prior.scatter.sd[4] == doctest::Approx(0.01).epsilon(0.35));
  CHECK(prior.scatter.sd[0] == doctest::Approx(0.05 / std::sqrt(2.0)).epsilon(0.35));
  // Slopes are differences between five speeds only: what they leave is in the parts of each coefficient.
  CHECK(prior.scatter.sd[2] < 2.5 * 0.03);
  // A rotor whose critical speeds lie 2 % below the type's is one of them, but not for a prior without that
  // part.
  const auto slopes = speed_slopes(prior);
  REQUIRE(slopes.size() == prior.coefficients.size());
  FleetDraws draws(28);
  FleetRotor rotor = fleet.draw({}, {}, draws);
  for (std::size_t i = 0; i < slopes.size(); ++i) {
    const auto& one = prior.coefficients[i];
    const auto row = 2 * std::lround((one.rpm / VirtualFleet::full_rpm - 0.55) * 10) + (one.sensor == "B");
    rotor.c(row, one.plane == "rear") = one.mean * std::exp(0.02 * slopes[i]);
  }
  std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
  for (const int p : {0, 1}) {
    Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
    trial(p) = fleet.moment_worth(1.0, p);
    runs.push_back(fleet.run(rotor, "trial", trial, {}, draws));
  }
  const Job job = fleet.job(runs);
  const auto alone = fit_influence(job);
  REQUIRE(alone);
  Prior without = prior;
  without.scatter.sd[4] = 0.0;
  CHECK(fleet_check(prior, job, *alone->posterior)->probability > 0.05);
  CHECK(fleet_check(without, job, *alone->posterior)->probability < 0.01);
}

TEST_CASE("A fleet without scatter is learned as one") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.0, 0.0}, 20, 22);
  for (const double sd : prior.scatter.sd) CHECK(sd < 0.02);
}

TEST_CASE("A scatter learned from three jobs is never zero, and known with few degrees of freedom") {
  const VirtualFleet fleet;
  for (std::uint64_t seed = 40; seed < 50; ++seed) {
    for (const double sd : some(learned_prior(fleet, {0.03, 0.02}, 3, seed).scatter.sd)) CHECK(sd > 1e-3);
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
  const auto widest = [](const Prior& prior) {  // of 400 draws of a plane's common scatter, over its estimate
    double most = 0.0;
    for (const auto& one : prior_draws(prior, 400, 1))
      most = std::max(most, one.scatter.sd[0] / prior.scatter.sd[0]);
    return most;
  };
  CHECK(widest(few) > 3.0);
  CHECK(widest(many) < 2.0);
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

TEST_CASE(
    "A job that does not belong to the others is named and left out, and so is a job that stands there "
    "twice") {
  const VirtualFleet fleet;
  FleetDraws draws(27);
  std::vector<FleetJob> jobs;
  for (int j = 0; j < 10; ++j)
    jobs.push_back({three_runs(fleet, {0.1, 0.05}, draws), "job " + std::to_string(j)});
  const auto sound = learn_prior(jobs);
  REQUIRE(sound);
  CHECK(sound->jobs == 10);
  CHECK(sound->left_out.empty());
  for (auto& run : jobs[4].job.runs)  // lag read for lead
    for (auto& reading : run.readings) reading.x = std::conj(*reading.x);
  for (auto& run : jobs[7].job.runs)  // a sensor turned over
    for (auto& reading : run.readings)
      if (reading.sensor == 1) reading.x = -*reading.x;
  jobs.push_back({jobs[2].job, "job 2 again"});
  jobs.push_back({jobs[3].job, "baseline of job 3"});
  jobs.back().job.runs.resize(1);
  const auto prior = learn_prior(jobs);
  REQUIRE(prior);
  CHECK(prior->jobs == 8);
  std::vector<std::string> names;
  for (const auto& one : prior->left_out) names.push_back(one.name);
  std::sort(names.begin(), names.end());
  CHECK(names == std::vector<std::string>{"baseline of job 3", "job 2 again", "job 4", "job 7"});
  for (std::size_t q = 0; q < 4; ++q) CHECK(prior->scatter.sd[q] < 1.5 * sound->scatter.sd[q]);
}

TEST_CASE("A coefficient that too few jobs have is named, with what does not match") {
  const VirtualFleet fleet;
  FleetDraws draws(28);
  std::vector<FleetJob> jobs;
  for (int j = 0; j < 5; ++j)
    jobs.push_back({three_runs(fleet, {0.1, 0.05}, draws), "job " + std::to_string(j)});
  jobs[1].job.rotor.sensors[0].name = "AA";
  jobs[2].job.rotor.sensors[1].unit = *parse_vibration_unit("mm/s peak");
  const auto prior = learn_prior(jobs);
  REQUIRE(prior);
  REQUIRE(prior->left_out.size() == 2);
  CHECK(prior->left_out[0].name == "job 1");
  CHECK(prior->left_out[0].why.find("names") != std::string::npos);
  CHECK(prior->left_out[1].name == "job 2");
  CHECK(prior->left_out[1].why.find("mm/s, where the others have in/s") != std::string::npos);
  for (const auto& one : some(prior->coefficients)) CHECK(one.jobs == 4);
}

TEST_CASE("A fleet tells how much its trims leave") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 20, 29);
  REQUIRE(prior.left);
  // 0.04 in/s rms of a complex figure, over the limit of 2 in/s, per real component.
  CHECK(prior.left->size == doctest::Approx(0.04 / 2.0 / std::sqrt(2.0)).epsilon(0.3));
  CHECK(prior.left->degrees_of_freedom > 5.0);
}

TEST_CASE("A prior file gives the same prior back") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 5, 26);
  const auto again = parse_prior("prior.yaml", prior_text(prior));
  REQUIRE(again);
  CHECK(again->rotor == prior.rotor);
  CHECK(again->jobs == 5);
  CHECK(again->left->size == doctest::Approx(prior.left->size));
  REQUIRE(again->coefficients.size() == prior.coefficients.size());
  REQUIRE_FALSE(prior.coefficients.empty());
  for (std::size_t i = 0; i < prior.coefficients.size(); ++i)
    CHECK(std::abs(again->coefficients[i].mean - prior.coefficients[i].mean) <
          1e-14 * std::abs(prior.coefficients[i].mean));
  CHECK((again->mean_covariance - prior.mean_covariance).norm() <= 1e-15 * prior.mean_covariance.norm());
  CHECK((again->scatter.covariance - prior.scatter.covariance).norm() <=
        1e-15 * prior.scatter.covariance.norm());
}

#include "trimwright/influence/influence_review.hpp"

#include <doctest/doctest.h>

#include "virtual_fleet.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Two baselines and, in turn, two trials in each plane, worth `worth` in/s; higher `count`, more trials.
Job six_runs(const VirtualFleet& fleet, std::uint64_t seed, double worth, int count = 6) {
  FleetDraws draws(seed);
  const FleetRotor rotor = fleet.draw({0.1, 0.05}, {}, draws);
  std::vector<Run> runs;
  for (int r = 0; r < count; ++r) {
    Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
    if (r >= 2) u(r % 2) = std::polar(fleet.moment_worth(worth, r % 2), 2.0 * r);
    runs.push_back(fleet.run(rotor, "run " + std::to_string(r + 1), u, {}, draws));
  }
  return fleet.job(runs);
}

InfluenceReview reviewed(const Job& job) {
  const auto settled = settle_and_fit(job);
  REQUIRE(settled);
  return review_influence(settled->job, settled->model);
}

}  // namespace

TEST_CASE("A reading written down wrong is the one that is suspect") {
  const VirtualFleet fleet;
  // Three trials in its plane: with two, either of the pair could be the wrong one.
  Job job = six_runs(fleet, 31, 0.6, 8);
  *job.runs[3].readings[4].x += Phasor(0.0, 0.4);
  const auto review = reviewed(job);
  REQUIRE(review.readings_tested == 80);
  CHECK(review.readings[0].suspect);
  CHECK(review.readings[0].run == 3);
  CHECK(review.readings[0].speed == 2);
  CHECK(review.readings[0].sensor == 0);
  CHECK(review.runs_tested > 0);
}

TEST_CASE("Good jobs raise a suspect reading about once in twenty") {
  const VirtualFleet fleet;
  int alarms = 0;
  for (std::uint64_t j = 0; j < 100; ++j) {
    const auto review = reviewed(six_runs(fleet, 100 + j, 0.6));
    alarms += review.readings.front().suspect;
    double leverage = 0.0;
    for (const auto& one : review.readings) leverage += one.leverage;
    CHECK(leverage == doctest::Approx(30.0));  // ten rows of three unknowns
  }
  // Binomial(100, 0.05): at most 12 with probability 99.9 %; residuals that share a run's change make it
  // fewer.
  CHECK(alarms <= 12);
}

TEST_CASE("A run made on a rotor that changed is the run that the others do not predict") {
  const VirtualFleet fleet;
  Job job = six_runs(fleet, 41, 0.6);
  for (auto& reading : job.runs[1].readings) *reading.x += Phasor(0.25, -0.2);
  const auto review = reviewed(job);
  REQUIRE(review.runs_tested == 6);
  for (const auto& one : review.runs) CHECK(one.suspect == (one.run == 1));
}

TEST_CASE("A trial weight that hardly changes anything is called too small") {
  const VirtualFleet fleet;
  const auto enough = reviewed(six_runs(fleet, 51, 0.6));
  REQUIRE(enough.trials.size() == 4);
  for (const auto& trial : enough.trials) CHECK_FALSE(trial.too_small());
  Job job = six_runs(fleet, 51, 0.6);
  for (std::size_t i = 0; i < job.runs[2].readings.size(); ++i)
    job.runs[2].readings[i].x = *job.runs[0].readings[i].x * std::polar(1.1, 0.2);
  CHECK(reviewed(job).trials[0].too_small());
}

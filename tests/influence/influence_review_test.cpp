#include "trimwright/review.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"
#include "report/review_words.hpp"
#include "some.hpp"
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
  CHECK(std::count_if(review.readings.begin(), review.readings.end(),
                      [](const auto& one) { return one.suspect; }) == 1);
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
  for (const auto& one : some(review.runs)) CHECK(one.suspect == (one.run == 1));
}

TEST_CASE("A trial weight is called too small by the place that it moves least") {
  const VirtualFleet fleet;
  Job job = six_runs(fleet, 51, 0.6);
  for (std::size_t i = 0; i < job.runs[2].readings.size(); ++i)
    job.runs[2].readings[i].x = *job.runs[0].readings[i].x * std::polar(1.5, 0.2);
  REQUIRE(reviewed(job).trials.size() == 4);
  CHECK_FALSE(reviewed(job).trials[0].too_small());
  Reading& one = job.runs[2].readings[4];
  one.x = *job.runs[0].readings[4].x * std::polar(1.1, 0.2);
  const auto least = reviewed(job).trials[0];
  CHECK(least.too_small());
  CHECK(least.speed == one.speed);
  CHECK(least.sensor == one.sensor);
  CHECK(least.amplitude_share == doctest::Approx(0.1));
  CHECK(least.phase_deg == doctest::Approx(0.2 * 180.0 / 3.14159265358979));
}

TEST_CASE("The words say which reading to repeat, and the correction without it is the true one") {
  const VirtualFleet fleet;
  const Job good = six_runs(fleet, 31, 0.6, 8);
  Job job = good;
  *job.runs[3].readings[4].x += Phasor(0.0, 0.4);
  const auto settled = settle_and_fit(job);
  REQUIRE(settled);
  const auto review = review_influence(settled->job, settled->model);
  const auto words = what_to_repeat(settled->job, settled->model, review);
  CHECK(std::any_of(words.begin(), words.end(), [](const std::string& line) {
    return line.find("A at 3750") != std::string::npos && line.find("run 4") != std::string::npos;
  }));
  const auto effect = effect_of_suspects(settled->job, settled->model, review);
  REQUIRE(effect);
  REQUIRE(effect->without);
  const auto whole = settle_and_fit(good);
  REQUIRE(whole);
  // The same job without the mistake, one reading of 80 more: the correction as good as the same.
  const auto plan = plan_trim(whole->job, whole->model, {});
  REQUIRE(plan);
  for (std::size_t p = 0; p < 2; ++p) {
    const auto right = plan->correction.parts[p].moment_to_add;
    CHECK(std::abs(effect->without->parts[p].moment_to_add - right) <
          0.5 * std::abs(effect->with.parts[p].moment_to_add - right));
  }
  const auto calm = what_to_repeat(whole->job, whole->model, review_influence(whole->job, whole->model));
  REQUIRE(calm.size() == 1);
  CHECK(calm[0].find("No reading asks to be repeated") == 0);
}

TEST_CASE("A vibration that bends with the weight is found by the repeats, a straight one is not") {
  const VirtualFleet fleet;
  Job job = six_runs(fleet, 61, 0.6, 10);
  job.runs[8] = job.runs[2];  // one setting run again
  const auto straight = reviewed(job);
  REQUIRE(straight.lack_of_fit);
  CHECK(straight.lack_of_fit->pure_dof == 40);               // 2 repeats of ten complex readings
  CHECK(straight.lack_of_fit->fit_dof == 2 * 10 * (8 - 3));  // eight settings, three unknowns
  CHECK(straight.lack_of_fit->probability > 0.001);
  for (std::size_t r = 2; r < job.runs.size(); ++r)
    for (auto& reading : job.runs[r].readings) *reading.x *= 1.0 + 0.4 * std::abs(*reading.x);
  const auto bent = reviewed(job);
  REQUIRE(bent.lack_of_fit);
  CHECK(bent.lack_of_fit->probability < 1e-4);
}

TEST_CASE("Planes that act alike at some speeds are named with the sensor and the speeds") {
  const VirtualFleet fleet;
  Job job = six_runs(fleet, 62, 0.6);
  const auto settled = settle_and_fit(job);
  REQUIRE(settled);
  InfluenceModel model = settled->model;
  for (auto& row : model.rows)
    row.coefficients(1) = row.sensor == 0 && row.speed < 3 ? Phasor(0.3, 0.5) * row.coefficients(0)
                                                           : std::polar(1e-5, 2.0 * double(row.speed));
  const auto review = review_influence(settled->job, model);
  const auto at_a = std::find_if(review.alike_planes.begin(), review.alike_planes.end(),
                                 [](const auto& one) { return one.sensor == 0; });
  REQUIRE(at_a != review.alike_planes.end());
  CHECK(at_a->from == 0);
  CHECK(at_a->to >= 2);
  const auto words = likeness_words(settled->job, model, review);
  CHECK(words.front().find("Planes front and rear act alike at the A sensor up to") == 0);
}

TEST_CASE("With a prior the runs are reviewed on their own") {
  const VirtualFleet fleet;
  std::vector<FleetJob> jobs;
  for (std::uint64_t j = 0; j < 6; ++j) jobs.push_back({six_runs(fleet, 80 + j, 0.6), std::to_string(j)});
  const auto prior = learn_prior(jobs);
  REQUIRE(prior);
  Job job = six_runs(fleet, 31, 0.6, 8);
  *job.runs[3].readings[4].x += Phasor(0.0, 0.4);
  const auto settled = settle_and_fit(job, {}, &*prior);
  REQUIRE(settled);
  const auto review = review_influence(settled->job, settled->model);
  CHECK(review.readings[0].suspect);
  CHECK(review.readings[0].run == 3);
}

TEST_CASE("The weights of the first run, listed the other way round, are no trial that moved little") {
  const Rotor rotor = free_rotor({"fan"}, {"A"});
  const std::vector<FreePiece> listed{{0.1, {}}, {0.2, {}}, {0.3, {}}}, back{{0.3, {}}, {0.2, {}}, {0.1, {}}};
  Job job = job_of(rotor, {run_of(rotor, "as found", {listed}, {{0.5, 40.0}}),
                           run_of(rotor, "again", {back}, {{0.5, 41.0}}),
                           run_of(rotor, "trial", {{{100.0, {}}}}, {{0.8, 90.0}})});
  const auto review = reviewed(job);
  REQUIRE(review.trials.size() == 1);
  CHECK(review.trials[0].run == 2);
}

#include "trimwright/forecast.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "forecast/outlook.hpp"
#include "some.hpp"
#include "virtual_fleet.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Baseline and a trial in each plane of a rotor of the fleet; the sensors state how they scatter.
struct ThreeRuns {
  VirtualFleet fleet;
  FleetDraws draws{5};
  FleetNoise noise;
  FleetRotor rotor = fleet.draw({}, noise, draws);

  [[nodiscard]] Run run(const Eigen::Vector2cd& u) {
    return fleet.run(rotor, std::to_string(next_++), u, noise, draws);
  }
  [[nodiscard]] Job job() {
    std::vector<Run> runs{run(Eigen::Vector2cd::Zero())};
    for (int p = 0; p < 2; ++p) {
      Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
      trial(p) = fleet.moment_worth(0.5, p);
      runs.push_back(run(trial));
    }
    Job job = fleet.job(runs);
    job.fitted_now = job.runs[0].fitted;
    return job;
  }

 private:
  int next_ = 0;
};

SettledModel fitted(const Job& job) {
  auto model = settle_and_fit(job);
  REQUIRE(model);
  return *std::move(model);
}

}  // namespace

TEST_CASE("One sound reading in 55 is further from what is expected than differs_by, run to run included") {
  ThreeRuns three;
  three.noise.outlier_share = 0.0;
  int far = 0, all = 0;
  for (int i = 0; i < 60; ++i) {
    three.rotor = three.fleet.draw({}, three.noise, three.draws);
    const auto settled = fitted(three.job());
    const auto next = forecast(settled.job, settled.model, settled.job.fitted_now);
    for (int r = 0; r < 5; ++r)
      for (const auto& reading : some(three.run(Eigen::Vector2cd::Zero()).readings)) {
        const Prediction* one = prediction_at(next.predictions, reading.speed, reading.sensor);
        REQUIRE(one);
        far += std::abs(*reading.x - one->after) > one->differs_by.value();
        ++all;
      }
  }
  const double share = static_cast<double>(far) / all;
  CHECK(share > 0.5 * std::exp(-4.0));  // readings of one run share much: few of the 3000 are independent
  CHECK(share < 2.0 * std::exp(-4.0));
}

TEST_CASE("The parts of the scatter add up to the covariance of the next readings, tolerances included") {
  ThreeRuns three;
  Job job = three.job();
  for (auto& sensor : job.rotor.sensors) sensor.proportional = 0.05;
  job.rotor.planes[0] = slotted_plane("front", 12, {400.0, 900.0});
  job.rotor.planes[0].weight_tolerance = 0.05;
  job.rotor.planes[0].slot_tolerance_deg = 2.0;
  const auto settled = fitted(testing::settled(job));
  auto with = settled.job.fitted_now;
  with[0].slots[3] = {"w2", 900.0};
  const auto next = forecast(settled.job, settled.model, with);
  const auto& posterior = *settled.model.posterior;
  const auto readings = next_readings_with(settled.job, posterior, with);
  REQUIRE(posterior.rows.size() == 10);
  REQUIRE(next.predictions.size() == posterior.rows.size());
  for (std::size_t i = 0; i < posterior.rows.size(); ++i) {
    const auto [speed, sensor] = posterior.rows[i];
    const auto* one = prediction_at(next.predictions, speed, sensor);
    const double half_trace =
        0.5 * readings.covariance.diagonal().segment<2>(2 * static_cast<Eigen::Index>(i)).sum();
    for (const double part : {one->parts->model, one->parts->within, one->parts->run_to_run,
                              one->parts->proportional, one->parts->fitting})
      CHECK(part > 0.0);
    CHECK(std::pow(one->parts->total(), 2) == doctest::Approx(half_trace).epsilon(1e-6));
  }
}

TEST_CASE("Where the scatter is estimated from few readings, a reading must be further off to differ") {
  InfluenceModel model;
  CHECK(differs_factor(model) == doctest::Approx(2.0 * std::sqrt(2.0)));
  model.posterior.emplace();
  model.posterior->unknowns.degrees_of_freedom = 6.0;
  // |d|^2 / (2 sd^2) is F with 2 and nu degrees of freedom, P(F > f) = (1 + 2 f / nu)^(-nu / 2).
  const double f = 0.5 * std::pow(differs_factor(model), 2);
  CHECK(std::pow(1.0 + 2.0 * f / 6.0, -3.0) == doctest::Approx(std::exp(-4.0)));
}

TEST_CASE(
    "A place that one trial run did not read is not predicted, and the chances say of how many they are") {
  ThreeRuns three;
  Job job = three.job();
  auto& readings = job.runs[2].readings;
  readings.erase(readings.begin() + 3);  // second speed, second sensor
  const auto settled = fitted(job);
  const auto next = forecast(settled.job, settled.model, settled.job.fitted_now);
  REQUIRE(next.not_predicted.size() == 1);
  CHECK(next.not_predicted[0].place.speed == 1);
  CHECK(next.not_predicted[0].place.sensor == 1);
  CHECK_FALSE(next.not_predicted[0].why.empty());
  REQUIRE(next.outlook);
  CHECK(next.outlook->readings.size() == 9);
  const auto words = outlook_words(next.predictions, 1, next.outlook);
  CHECK(words.find("each of the 9 readings predicted") != std::string::npos);
  CHECK(words.find("1 reading is not predicted and not counted in this: watch it.") != std::string::npos);
}

TEST_CASE("Where no target is set, none is spoken of") {
  ThreeRuns three;
  Job job = three.job();
  for (auto& sensor : job.rotor.sensors) sensor.bands = {{6000.0, 2.0, {}}};
  const auto settled = fitted(testing::settled(job));
  const auto next = forecast(settled.job, settled.model, settled.job.fitted_now);
  CHECK(outlook_words(next.predictions, 0, next.outlook).find("target") == std::string::npos);
}

TEST_CASE("A change from run to run that nothing tells is not counted in the chances, and that is said") {
  ThreeRuns three;
  Job job = three.job();
  const auto told = [](const Job& of, const std::string& words) {
    const auto settled = fitted(of);
    const auto next = forecast(settled.job, settled.model, settled.job.fitted_now);
    for (const auto& note : chance_notes(settled.job, settled.model, next.predictions, next.outlook))
      if (note.find(words) != note.npos) return true;
    return false;
  };
  for (auto& sensor : job.rotor.sensors) {
    sensor.run_to_run.reset();
    sensor.proportional = 0.0;
  }
  CHECK(told(job, "not counted in these chances"));
  for (auto& sensor : job.rotor.sensors) sensor.run_to_run = 0.01;
  CHECK_FALSE(told(job, "not counted in these chances"));
}

TEST_CASE("Where the stated scatter alone keeps the chance of all targets low, it is named") {
  ThreeRuns three;
  Job job = three.job();
  for (auto& sensor : job.rotor.sensors) {
    sensor.run_to_run = 0.0;
    sensor.proportional = 0.3;
    sensor.bands = {{6000.0, 100.0, {}}};
  }
  job = testing::settled(job);
  auto settled = fitted(job);
  auto next = forecast(settled.job, settled.model, settled.job.fitted_now);
  for (auto& one : next.predictions) one.target = 1.01 * std::abs(one.after);
  REQUIRE(next.outlook);
  next.outlook->meets_targets = 0.5;
  const auto notes = chance_notes(settled.job, settled.model, next.predictions, next.outlook);
  REQUIRE(notes.size() == 1);
  CHECK(notes[0].find("differ by 30 % of themselves (proportional)") != notes[0].npos);
  next.predictions[0].target =
      0.01 * std::abs(next.predictions[0].after);  // it is the level that is too high
  CHECK(chance_notes(settled.job, settled.model, next.predictions, next.outlook).empty());
}

#include <doctest/doctest.h>

#include <cmath>

#include "event_world.hpp"
#include "learned_prior.hpp"
#include "some.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const ReadingState up{Approach::up, ""}, down{Approach::down, ""};
const Phasor lag_of_metal(0.15, -0.2);  // what a reading on the way down has more

Run read_in(Run run, const ReadingState& state, Phasor more = 0.0) {
  for (auto& reading : run.readings) {
    reading.state = state;
    reading.x = *reading.x + more;
    reading.amplitude = std::abs(*reading.x);
  }
  return run;
}

Run both(Run run, Phasor more = lag_of_metal) {
  Run falling = read_in(run, down, more);
  run = read_in(run, up);
  run.readings.insert(run.readings.end(), falling.readings.begin(), falling.readings.end());
  return run;
}

double sd_at(const InfluencePosterior& posterior, std::size_t row, std::size_t plane) {
  const auto at = static_cast<Eigen::Index>(2 * posterior.entry(row, 1 + plane));
  return std::sqrt(posterior.unknowns.covariance(at, at));
}

}  // namespace

TEST_CASE("Readings on the way up, on the way down and hot at one speed are places of their own") {
  TwoSpeeds world;
  Run run = both(world.run("as found", none()));
  Run hot = read_in(world.run("as found", none()), {Approach::up, "hot"});
  hot.readings.resize(1);
  run.readings.push_back(hot.readings.front());
  const Job job = job_of(world.rotor, {run});
  CHECK(job.speeds_rpm == std::vector<double>{1500.0, 1500.0, 1500.0, 3000.0, 3000.0});
  CHECK(speed_words(job, 0) == "1500 rpm, on the way up");
  CHECK(speed_words(job, 1) == "1500 rpm, on the way up, hot");
  CHECK(place_words(job, 4, 1) == "B at 3000 rpm, on the way down");
  CHECK(short_speed_words(job, 2) == "1500, down");
  CHECK(job.places.size() == 9);
}

TEST_CASE("What a run was to read on the way down and did not is missing there and not on the way up") {
  TwoSpeeds world;
  Run as_found = both(world.run("as found", none())), again = read_in(world.run("again", none()), up);
  again.missing.push_back({1500.0, 0, "cable", {}, down});
  const Job job = job_of(world.rotor, {as_found, again});
  CHECK(job.speeds_rpm.size() == 4);
  CHECK(readings_to_make(job).size() == 8);
}

TEST_CASE("A trial run read on the way up and one read on the way down together tell how the planes act") {
  TwoSpeeds world;
  const Job job = job_of(
      world.rotor, {both(world.run("as found", none())), read_in(world.run("front", front_fitted()), up),
                    read_in(world.run("rear", rear_fitted()), down, lag_of_metal)});
  const Job plain = job_of(world.rotor, {world.run("as found", none()), world.run("front", front_fitted()),
                                         world.run("rear", rear_fitted())});
  const auto model = fit_influence(job), known = fit_influence(plain);
  REQUIRE(model);
  REQUIRE(known);
  REQUIRE(model->rows.size() == 8);
  for (const auto& row : model->rows) {
    const bool falling = state_at(job, row.speed) == down;
    const auto& same = known->rows[2 * (row.speed / 2) + row.sensor];
    CHECK(std::abs(row.baseline - same.baseline - (falling ? lag_of_metal : 0.0)) < 1e-9);
    for (Eigen::Index p = 0; p < 2; ++p) CHECK(std::abs(row.coefficients(p) - same.coefficients(p)) < 1e-12);
  }
  CHECK(model->unsettled.empty());
}

TEST_CASE("Readings both ways tell coefficients by the root of two more surely, and the same to both") {
  TwoSpeeds world;
  const std::vector<std::vector<FittedWeights>> weights{none(), front_fitted(), rear_fitted(), none()};
  std::vector<Run> plain, twice;
  for (std::size_t r = 0; r < weights.size(); ++r) {
    plain.push_back(world.run("run " + std::to_string(r), weights[r]));
    twice.push_back(both(plain.back()));
  }
  const auto one = influence_posterior(job_of(world.rotor, plain));
  const auto two = influence_posterior(job_of(world.rotor, twice));
  REQUIRE(one);
  REQUIRE(two);
  for (std::size_t p = 0; p < 2; ++p) {
    CHECK(sd_at(*two, 0, p) == doctest::Approx(sd_at(*one, 0, p) / std::sqrt(2.0)));
    CHECK(sd_at(*two, 2, p) == doctest::Approx(sd_at(*two, 0, p)));
  }
  CHECK(two->misfit_dof == 2 * 4 * (8 - 4));
}

TEST_CASE("A fleet's prior counts once where a speed is read both ways") {
  const VirtualFleet fleet;
  FleetDraws draws(8126);
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 8, 4);
  const FleetRotor rotor = fleet.draw({}, {}, draws);
  const Run run = fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws);
  const auto one = influence_posterior(fleet.job({run}), {}, &prior);
  const Job job = fleet.job({both(run)});
  const auto two = influence_posterior(job, {}, &prior);
  REQUIRE(one);
  REQUIRE(two);
  REQUIRE(two->rows.size() == 2 * one->rows.size());
  for (std::size_t i = 0; i < some(two->rows).size(); ++i) {
    const auto [speed, sensor] = two->rows[i];
    const std::size_t same = (speed / 2) * 2 + sensor;
    for (std::size_t p = 0; p < 2; ++p) {
      CHECK(sd_at(*two, i, p) == doctest::Approx(sd_at(*one, same, p)).epsilon(1e-6));
      CHECK(std::abs(two->unknowns.at(two->entry(i, 1 + p)) - one->unknowns.at(one->entry(same, 1 + p))) <
            1e-6 * std::abs(one->unknowns.at(one->entry(same, 1 + p))));
    }
  }
}

TEST_CASE("A plan foretells each way's readings, and a new baseline is each way's own") {
  TwoSpeeds world;
  auto relubricated =
      after(both(world.run("relubricated", none(), nullptr, {0.1, 0.0})), {Event::Kind::baseline_new});
  const Job job =
      job_of(world.rotor, {both(world.run("as found", none())), both(world.run("front", front_fitted())),
                           both(world.run("rear", rear_fitted())), relubricated});
  const auto model = fit_influence(job);
  REQUIRE(model);
  REQUIRE(model->rows.size() == 8);
  for (const auto& row : model->rows)
    for (const auto& reading : relubricated.readings)
      if (reading.sensor == row.sensor && reading.rpm == job.speeds_rpm[row.speed] &&
          reading.state == state_at(job, row.speed))
        CHECK(std::abs(row.baseline - *reading.x) < 1e-9);
}

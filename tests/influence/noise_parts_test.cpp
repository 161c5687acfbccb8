#include <doctest/doctest.h>

#include "cancelling_world.hpp"
#include "trimwright/review.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// A baseline, a trial and `more` runs in one plane at one sensor, shown amplitudes all at phase 0.
Job one_sensor_job(double repeatability, double run_to_run, const std::vector<double>& again) {
  Rotor rotor = free_rotor({"fan"}, {"A"}, PhaseConvention::lead);
  rotor.sensors[0].bands = {{9000.0, 10.0, {}}};
  rotor.sensors[0].repeatability = repeatability;
  rotor.sensors[0].run_to_run = run_to_run;
  std::vector<Run> runs{run_of(rotor, "baseline", {{}}, {{5.0, 0.0}}),
                        run_of(rotor, "trial", {{{100.0, RotorAngle{}}}}, {{3.0, 0.0}})};
  for (const double amplitude : again) runs.push_back(run_of(rotor, "again", {{}}, {{amplitude, 0.0}}));
  return job_of(rotor, runs);
}

}  // namespace

TEST_CASE("A baseline that repeats within its stated run-to-run change is no misfit") {
  const auto model = fit_influence(one_sensor_job(0.1, 1.0, {5.9, 4.4}));
  REQUIRE(model);
  CHECK(model->runs.misfit_dof == 4);
  CHECK(fit_probability(*model) > 0.1);
  CHECK(excess_scatter(*model) == 1.0);
  // Without a run-to-run change the same readings are 9 standard deviations off.
  const auto repeatable = fit_influence(one_sensor_job(0.1, 0.0, {5.9, 4.4}));
  REQUIRE(repeatable);
  CHECK(fit_probability(*repeatable) < 1e-9);
}

TEST_CASE(
    "A reading declared poor that is off by less than its own deviation is not suspect, nor is its run") {
  Job job = one_sensor_job(0.1, 0.0, {5.05, 5.9});
  const auto suspects = [&] {
    const auto settled = settle_and_fit(job);
    REQUIRE(settled);
    const auto review = review_influence(settled->job, settled->model);
    REQUIRE(review.readings_tested >= 3);
    return std::ranges::count_if(review.readings, &ReviewedReading::suspect) +
           std::ranges::count_if(review.runs, &ReviewedRun::suspect);
  };
  CHECK(suspects() > 0);
  job.runs[3].readings[0].repeatability = 1.0;
  CHECK(suspects() == 0);
}

TEST_CASE("A poor reading hardly moves the baseline, and the review foretells it from the good ones") {
  Job job = one_sensor_job(0.1, 0.0, {5.0, 5.9});
  job.runs[3].readings[0].repeatability = 1.0;
  const auto model = fit_influence(job);
  REQUIRE(model);
  // Weights 100, 100 and 1.
  CHECK(model->rows[0].baseline.real() == doctest::Approx((5.0 + 5.0 + 0.01 * 5.9) / 2.01));
  CHECK(*prediction_sd(*model, model->rows[0], Eigen::VectorXcd::Zero(1)) ==
        doctest::Approx(0.1 / std::sqrt(2.01)));
}

TEST_CASE("Of sound jobs about one in a hundred is a misfit, hardly one has a suspect, and none is stopped") {
  struct Mix {
    double run_to_run, proportional, poor;
  };
  for (const Mix& mix : {Mix{1.5, 0.0, 0.0}, Mix{0.0, 0.1, 0.0}, Mix{1.5, 0.03, 0.25}}) {
    World world;
    world.run_to_run = mix.run_to_run * world.within;
    world.proportional = mix.proportional;
    world.poor_readings = mix.poor;
    Draws draws{boost::random::mt19937_64(77)};
    int misfits = 0, stopped = 0, suspects = 0;
    constexpr int jobs = 60;
    for (int j = 0; j < jobs; ++j) {
      CancellingRotor rotor(world, draws, random_type(world, draws), 0.0);
      rotor.usual_runs();
      rotor.usual_runs_again();
      const auto model = fit_influence(rotor.job);
      REQUIRE(model);
      REQUIRE(model->runs.misfit_dof > 0);
      misfits += fit_probability(*model) < 0.01;
      stopped += model->runs.mirror.outcome == MirrorTest::Outcome::neither_fits ||
                 model->runs.mirror.outcome == MirrorTest::Outcome::contradicts;
      const auto review = review_influence(rotor.job, *model);
      suspects += std::ranges::any_of(review.readings, &ReviewedReading::suspect);
    }
    // Binomial, 60 of 1 %: five or more happen once in 2000; 60 of 5 %: ten or more once in 1000.
    CHECK(misfits < 5);
    CHECK(stopped == 0);
    CHECK(suspects < 10);
  }
}

TEST_CASE("The ± of a coefficient is that of the estimator that is printed, proportional noise included") {
  World world;
  world.run_to_run = 0.0;
  world.proportional = 0.1;
  Draws draws{boost::random::mt19937_64(78)};
  double squares = 0.0, stated = 0.0;
  int count = 0;
  for (int j = 0; j < 60; ++j) {
    CancellingRotor rotor(world, draws, random_type(world, draws), 0.0);
    rotor.usual_runs();
    const auto model = fit_influence(rotor.job);
    REQUIRE(model);
    for (const auto& row : model->rows)
      for (Eigen::Index p = 0; p < 2; ++p, ++count) {
        const auto i = static_cast<Eigen::Index>(2 * row.speed + row.sensor);
        squares += 0.5 * std::norm(row.coefficients(p) - rotor.c(i, p));
        stated += std::pow(*coefficient_sd(*model, row, static_cast<std::size_t>(p)), 2);
      }
  }
  REQUIRE(count == 720);
  CHECK(std::sqrt(squares / stated) == doctest::Approx(1.0).epsilon(0.12));
}

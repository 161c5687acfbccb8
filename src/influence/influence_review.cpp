#include "trimwright/influence.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "base/chance.hpp"
#include "base/linear_algebra.hpp"
#include "open_noise.hpp"
#include "plane_moments.hpp"
#include "review_parts.hpp"
#include "runs/used_runs.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double no_check = 1e-6;  // 1 - leverage below this: nothing checks the reading

void review_readings(const Job& job, const RunsFit& fit, InfluenceReview& review) {
  for (const auto& sensor : fit.sensors)
    for (std::size_t i = 0; i < sensor.readings.size(); ++i) {
      const auto& reading = fit.system.readings[sensor.readings[i]];
      const auto [speed, at] = fit.system.rows[reading.row];
      const auto k = static_cast<Index>(i);
      ReviewedReading one{fit.system.runs[reading.run], speed, at, sensor.leverage(k), {}, 1.0, false};
      if (1.0 - one.leverage > no_check) {
        one.studentised = std::abs(sensor.pull(k)) / std::sqrt(sensor.pull_variance(k));
        one.probability =
            chance_of_distance(*one.studentised * *one.studentised, 2, fit.noise.degrees_of_freedom);
        ++review.readings_tested;
      }
      review.readings.push_back(one);
    }
  // One wrong reading puts the fit of its speed off, and what is believed of its run.
  std::map<std::pair<double, std::size_t>, double> furthest;
  std::map<std::pair<std::size_t, std::size_t>, double> of_run;
  const auto rpm = [&job](const ReviewedReading& one) { return job.speeds_rpm[one.speed]; };
  for (const auto& one : review.readings)
    for (double* most : {&furthest[{rpm(one), one.sensor}], &of_run[{one.run, one.sensor}]})
      *most = std::max(*most, one.studentised.value_or(0.0));
  const double level = suspect_level / review.readings_tested;
  for (auto& one : review.readings) {
    const double distance = one.studentised.value_or(0.0);
    one.suspect =
        one.probability < level &&
        distance > as_far_share * std::max(furthest[{rpm(one), one.sensor}], of_run[{one.run, one.sensor}]);
  }
  std::stable_sort(review.readings.begin(), review.readings.end(), [](const auto& a, const auto& b) {
    return a.studentised.value_or(-1.0) > b.studentised.value_or(-1.0);
  });
}

/// The readings of run `r` as a system has them beside the rows that the other runs settle.
std::vector<std::size_t> readings_of(const JointSystem& system, std::size_t r,
                                     const InfluencePosterior& others) {
  std::vector<std::size_t> own;
  for (std::size_t i = 0; i < system.readings.size(); ++i) {
    const auto& reading = system.readings[i];
    const auto& row = system.rows[reading.row];
    if (system.runs[reading.run] == r &&
        std::find(others.rows.begin(), others.rows.end(), row) != others.rows.end())
      own.push_back(i);
  }
  return own;
}

/// Run `r` as the other runs predict it.
ReviewedRun predicted_by_others(const Job& job, const RunsFit& fit, std::size_t r) {
  ReviewedRun reviewed;
  reviewed.run = r;
  Job rest = job;
  rest.runs[r].set_aside = "left out of the review";
  if (new_baseline_between(job, r, job.runs.size() - 1)) return reviewed;  // foretold is what the last has
  const auto others = influence_posterior(rest, fit.system.planes);
  if (!others || others->planes != fit.system.planes) return reviewed;
  const auto own = readings_of(fit.system, r, *others);
  if (own.empty()) return reviewed;
  const auto x = predicted_phasors(*others, of_planes(run_unbalance(job, r), others->planes));
  const MatrixXd noise =
      std::pow(others->noise.widened, 2) * readings_covariance(fit.system, others->noise, own);
  const auto n = static_cast<Index>(own.size());
  VectorXd difference(2 * n);
  std::vector<Index> at;
  for (Index i = 0; i < n; ++i) {
    const auto& reading = fit.system.readings[own[static_cast<std::size_t>(i)]];
    const auto row = static_cast<std::size_t>(
        std::find(others->rows.begin(), others->rows.end(), fit.system.rows[reading.row]) -
        others->rows.begin());
    const auto [speed, sensor] = others->rows[row];
    const Phasor off =
        reading.read * since_events(others->events, job, r, job.speeds_rpm[speed], sensor) - x.at(row);
    difference.segment<2>(2 * i) << off.real(), off.imag();
    for (const Index component : {0, 1}) at.push_back(2 * static_cast<Index>(row) + component);
  }
  MatrixXd covariance = x.covariance(at, at);
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) covariance.block<2, 2>(2 * i, 2 * j).diagonal().array() += noise(i, j);
  reviewed.components = static_cast<int>(2 * n);
  reviewed.distance =
      std::max(0.0, (difference.transpose() * positive_solve(covariance, difference)).value());
  reviewed.probability = chance_of_distance(reviewed.distance, reviewed.components, x.degrees_of_freedom);
  return reviewed;
}

void review_runs(const Job& job, const RunsFit& fit, InfluenceReview& review) {
  const auto told = predictions_by_others(fit.system, fit.noise);
  for (std::size_t k = 0; k < told.size(); ++k) {
    const std::size_t r = fit.system.runs[k];
    if (!told[k] || new_baseline_between(job, r, job.runs.size() - 1)) {
      review.runs.push_back(predicted_by_others(job, fit, r));
    } else {
      const auto [components, distance, freedom] = *told[k];
      review.runs.push_back(
          {r, components, distance, chance_of_distance(distance, components, freedom), false});
    }
    review.runs_tested += review.runs.back().components > 0;
  }
  for (auto& one : review.runs)
    one.suspect = one.components > 0 && one.probability < suspect_level / review.runs_tested;
}

/// The change from the first run at the place that run `run` moved least; empty where they share none.
std::optional<TrialEffect> effect_of(const Job& job, std::size_t first, std::size_t run) {
  std::optional<TrialEffect> least;
  const auto moved = [](const TrialEffect& one) {
    return std::max(one.amplitude_share / least_amplitude_share, one.phase_deg / least_phase_deg);
  };
  for (const auto& after : job.runs[run].readings)
    for (const auto& before : job.runs[first].readings) {
      if (before.speed != after.speed || before.sensor != after.sensor || !before.x || !after.x ||
          std::abs(*before.x) == 0.0 || std::abs(*after.x) == 0.0)
        continue;
      const TrialEffect here{run, after.speed, after.sensor,
                             std::abs(std::abs(*after.x) / std::abs(*before.x) - 1.0),
                             std::abs(std::arg(*after.x / *before.x)) * 180.0 / std::numbers::pi};
      if (!least || moved(here) < moved(*least)) least = here;
    }
  return least;
}

}  // namespace

InfluenceReview review_influence(const Job& job, const InfluenceModel& model) {
  InfluenceReview review;
  review_planes(job, model, review);
  if (const auto fit = fit_as_given(job, {}); fit) {
    if (fit->noise.known) {
      review_readings(job, *fit, review);
      review_runs(job, *fit, review);
    }
    review.lack_of_fit = lack_of_fit(*fit);
  }
  if (model.runs.used.empty()) return review;
  const std::size_t first = model.runs.used.front();
  for (const std::size_t run : model.runs.used)
    if (const auto effect = effect_of(job, first, run);
        effect && !planes_changed(job, {first, run}).empty() && !event_between(job, first, run))
      review.trials.push_back(*effect);
  return review;
}

}  // namespace trimwright

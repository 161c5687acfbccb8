#include "trimwright/influence/influence_review.hpp"

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <map>
#include <numbers>

#include "review_parts.hpp"
#include "usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double family_level = 0.05;  // of all readings, or all runs, together
constexpr double equally_far = 0.95;   // of the furthest: not to be told apart
constexpr double no_check = 1e-6;      // 1 - leverage below this: nothing checks the reading

/// Probability that a squared distance of `components` real normal components is larger.
double tail_probability(double distance, int components, double degrees_of_freedom) {
  if (components == 0) return 1.0;
  if (degrees_of_freedom > 1e6) {
    const boost::math::chi_squared chi(components);
    return boost::math::cdf(boost::math::complement(chi, distance));
  }
  const boost::math::fisher_f f(components, degrees_of_freedom);
  return boost::math::cdf(boost::math::complement(f, distance / components));
}

/// Diagonal of the projection onto the columns of a row's design (1, U).
VectorXd leverages(const Job& job, const InfluenceModel& model, const InfluenceRow& row) {
  Eigen::MatrixXcd design(static_cast<Index>(row.fit.size()), 1 + static_cast<Index>(model.planes.size()));
  for (std::size_t i = 0; i < row.fit.size(); ++i) {
    const auto unbalance = run_unbalance(job, row.fit[i].run);
    design(static_cast<Index>(i), 0) = 1.0;
    for (std::size_t p = 0; p < model.planes.size(); ++p)
      design(static_cast<Index>(i), static_cast<Index>(p) + 1) = unbalance[model.planes[p]];
  }
  for (Index c = 1; c < design.cols(); ++c) {
    design.col(c).array() -= design.col(c).mean();
    if (const double norm = design.col(c).norm(); norm > 0.0) design.col(c) /= norm;
  }
  const Eigen::HouseholderQR<Eigen::MatrixXcd> qr(design);
  const Eigen::MatrixXcd q = qr.householderQ() * Eigen::MatrixXcd::Identity(design.rows(), design.cols());
  return q.rowwise().squaredNorm();
}

void review_readings(const Job& job, const InfluenceModel& model, InfluenceReview& review) {
  const NoiseModel& noise = model.posterior->noise;
  for (const auto& row : model.rows) {
    const auto& part = noise.sensors[row.sensor];
    const VectorXd leverage = leverages(job, model, row);
    for (std::size_t i = 0; i < row.fit.size(); ++i) {
      ReviewedReading one{row.fit[i].run, row.speed, row.sensor, leverage(static_cast<Index>(i)), {}, 1.0,
                          false};
      const double free = 1.0 - one.leverage;
      const double variance = std::pow(part.within.sd, 2) + std::pow(part.run_to_run.sd, 2) +
                              std::norm(part.proportional * row.fit[i].read);
      if (free > no_check && variance > 0.0) {
        one.studentised = std::abs(row.fit[i].read - row.fit[i].fitted) / std::sqrt(variance * free);
        one.probability = tail_probability(*one.studentised * *one.studentised, 2, noise.degrees_of_freedom);
        ++review.readings_tested;
      }
      review.readings.push_back(one);
    }
  }
  std::map<std::pair<std::size_t, std::size_t>, double> furthest;
  for (const auto& one : review.readings) {
    double& most = furthest[{one.speed, one.sensor}];
    most = std::max(most, one.studentised.value_or(0.0));
  }
  const double level = family_level / review.readings_tested;
  for (auto& one : review.readings) {
    const double distance = one.studentised.value_or(0.0);
    one.suspect = one.probability < level && distance > equally_far * furthest[{one.speed, one.sensor}];
  }
  std::stable_sort(review.readings.begin(), review.readings.end(), [](const auto& a, const auto& b) {
    return a.studentised.value_or(-1.0) > b.studentised.value_or(-1.0);
  });
}

/// Run `r` as the other runs predict it.
ReviewedRun predicted_by_others(const Job& job, const InfluenceModel& model, std::size_t r) {
  ReviewedRun reviewed;
  reviewed.run = r;
  Job others = job;
  others.runs[r].set_aside = "left out of the review";
  const auto posterior = influence_posterior(others, model.planes);
  if (!posterior || posterior->planes != model.planes) return reviewed;
  const auto unbalance = run_unbalance(job, r);
  Eigen::VectorXcd u(static_cast<Index>(model.planes.size()));
  for (Index p = 0; p < u.size(); ++p) u(p) = unbalance[model.planes[static_cast<std::size_t>(p)]];
  const auto x = predicted_phasors(*posterior, u);
  const MatrixXd covariance = x.covariance + next_run_noise(*posterior, x.mean);
  std::vector<Index> at;
  std::vector<double> off;
  std::vector<bool> taken(posterior->rows.size(), false);  // the first of repeats stands for them
  for (const auto& reading : job.runs[r].readings) {
    if (!why_not_usable(job, job.runs[r], reading).empty()) continue;
    const auto found =
        std::find(posterior->rows.begin(), posterior->rows.end(), std::pair{reading.speed, reading.sensor});
    if (found == posterior->rows.end()) continue;
    const auto i = static_cast<std::size_t>(found - posterior->rows.begin());
    if (taken[i]) continue;
    taken[i] = true;
    const Phasor difference = *reading.x - x.at(i);
    for (const Index component : {0, 1}) at.push_back(2 * static_cast<Index>(i) + component);
    off.push_back(difference.real());
    off.push_back(difference.imag());
  }
  if (at.empty()) return reviewed;
  const VectorXd difference = VectorXd::Map(off.data(), static_cast<Index>(off.size()));
  const MatrixXd part = covariance(at, at);
  reviewed.components = static_cast<int>(off.size());
  reviewed.distance = difference.dot(part.llt().solve(difference));
  reviewed.probability = tail_probability(reviewed.distance, reviewed.components, x.degrees_of_freedom);
  return reviewed;
}

void review_runs(const Job& job, const InfluenceModel& model, InfluenceReview& review) {
  for (const std::size_t r : model.runs_used) {
    review.runs.push_back(predicted_by_others(job, model, r));
    review.runs_tested += review.runs.back().components > 0;
  }
  for (auto& one : review.runs)
    one.suspect = one.components > 0 && one.probability < family_level / review.runs_tested;
}

/// The largest change of a reading from the first run that has it.
TrialEffect effect_of(const Job& job, std::size_t first, std::size_t run) {
  TrialEffect effect;
  effect.run = run;
  for (const auto& after : job.runs[run].readings)
    for (const auto& before : job.runs[first].readings) {
      if (before.speed != after.speed || before.sensor != after.sensor || !before.x || !after.x ||
          std::abs(*before.x) == 0.0 || std::abs(*after.x) == 0.0)
        continue;
      const double share = std::abs(std::abs(*after.x) / std::abs(*before.x) - 1.0);
      const double phase = std::abs(std::arg(*after.x / *before.x)) * 180.0 / std::numbers::pi;
      effect.amplitude_share = std::max(effect.amplitude_share, share);
      effect.phase_deg = std::max(effect.phase_deg, phase);
    }
  return effect;
}

}  // namespace

InfluenceReview review_influence(const Job& job, const InfluenceModel& model) {
  InfluenceReview review;
  review_planes(job, model, review);
  std::optional<InfluenceModel> alone;
  if (model.rows_are_posterior_mean()) {
    Job as_measured = job;
    as_measured.small_residual = false;
    if (auto settled = settle_and_fit(as_measured); settled) alone = std::move(settled->model);
  }
  const InfluenceModel* own = !model.rows_are_posterior_mean() ? &model : alone ? &*alone : nullptr;
  if (own != nullptr && own->posterior) {
    review_readings(job, *own, review);
    review_runs(job, *own, review);
  }
  if (own != nullptr) review.lack_of_fit = lack_of_fit(job, *own);
  if (model.runs_used.empty()) return review;
  const std::size_t first = model.runs_used.front();
  const auto as_found = run_unbalance(job, first);
  for (const std::size_t run : model.runs_used)
    if (run_unbalance(job, run) != as_found) review.trials.push_back(effect_of(job, first, run));
  return review;
}

}  // namespace trimwright

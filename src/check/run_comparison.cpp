#include "run_comparison.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>

#include "base/linear_algebra.hpp"
#include "forecast/outlook.hpp"
#include "influence/run_matrix.hpp"
#include "influence/usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::VectorXcd;

/// Of X0, and of what the usual change of a plane's weights moves a reading by, over the level usual there.
constexpr double believed_levels = 2.0;
/// Beforehand, of `scatter_scales` where a mistake is supposed: that runs also scatter more than is stated
/// would be a second thing wrong. Where none is, each is as likely: that may then be what is wrong.
constexpr double scale_shares[] = {0.9, 0.08, 0.02};
static_assert(std::size(scale_shares) == std::size(scatter_scales));
/// Of the level usual at a place: no reading is known better than this.
constexpr double finest_reading = 1e-4;

/// Circular complex Gaussian with covariance S per real component: -n log 2 pi - log det S - d^H S^-1 d / 2.
Judged circular_gaussian(const MatrixXcd& s, const VectorXcd& d) {
  const Eigen::LLT<MatrixXcd> factor(s);
  if (factor.info() != Eigen::Success) return {-std::numeric_limits<double>::infinity(), 0.0};
  const double log_det = 2.0 * factor.matrixLLT().diagonal().real().array().log().sum();
  const double squares = factor.matrixL().solve(d).squaredNorm();
  return {-static_cast<double>(d.size()) * std::log(2.0 * M_PI) - log_det - 0.5 * squares, squares};
}

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

bool is_among(const std::vector<std::size_t>& runs, std::size_t run) {
  return std::find(runs.begin(), runs.end(), run) != runs.end();
}

double heaviest_weight(const Plane& plane) {
  double heaviest = 0.0;
  for (const auto& weight : plane.weights) heaviest = std::max(heaviest, weight.moment_g_mm);
  return heaviest;
}

/// A plane outside the model whose weights differ in the check run: its effect is not known.
std::string unknown_plane(const Job& job, const InfluenceModel& model, std::size_t run) {
  const auto now = run_unbalance(job, run);
  const auto known = run_unbalance(job, model.runs.used.front());
  for (std::size_t p = 0; p < now.size(); ++p) {
    if (std::find(model.planes.begin(), model.planes.end(), p) != model.planes.end()) continue;
    if (std::abs(now[p] - known[p]) > 1e-9 * (1.0 + std::abs(known[p])))
      return "the weights of plane \"" + job.rotor.planes[p].name +
             "\" changed in this run, and no run before tells how that plane acts";
  }
  return {};
}

}  // namespace

double log_sum(double a, double b) {
  if (a == -std::numeric_limits<double>::infinity()) return b;
  if (b == -std::numeric_limits<double>::infinity()) return a;
  return std::max(a, b) + std::log1p(std::exp(-std::abs(a - b)));
}

std::string why_not_foretold(const Job& job, const InfluenceModel& model, std::size_t run) {
  if (const auto plane = unknown_plane(job, model, run); !plane.empty()) return plane;
  const Run& check = job.runs[run];
  for (const auto& reading : check.readings) {
    const std::pair place{reading.speed, reading.sensor};
    if (model.posterior && why_not_usable(job, check, reading).empty() &&
        std::find(model.posterior->rows.begin(), model.posterior->rows.end(), place) !=
            model.posterior->rows.end())
      return {};
  }
  return "no reading of this run has a phase, a prediction and a known repeatability (\"repeatability\" of "
         "the sensor)";
}

RunComparison::RunComparison(const Job& job, const InfluenceModel& model, std::size_t check,
                             const RunToRun& scatter, const Prior* prior)
    : job_(&job), model_(&model), check_(check), scatter_(scatter) {
  const InfluencePosterior& posterior = *model.posterior;
  std::vector<std::vector<double>> amplitudes(posterior.rows.size());
  for (std::size_t r = 0; r <= check; ++r) {
    const auto all = run_unbalance(job, r);
    VectorXcd u(static_cast<Index>(posterior.planes.size()));
    for (Index p = 0; p < u.size(); ++p) u(p) = all[posterior.planes[static_cast<std::size_t>(p)]];
    listed_.push_back(u);
    Eigen::VectorXd fitting(u.size());
    for (Index p = 0; p < u.size(); ++p) {
      const std::size_t plane = posterior.planes[static_cast<std::size_t>(p)];
      fitting(p) = 0.5 * fitting_covariance(job.rotor.planes[plane], job.runs[r].fitted[plane]).trace();
    }
    fitting_.push_back(fitting);
    if (job.runs[r].set_aside) continue;
    for (const auto& reading : job.runs[r].readings) {
      const auto at =
          std::find(posterior.rows.begin(), posterior.rows.end(), std::pair(reading.speed, reading.sensor));
      if (at == posterior.rows.end() || !why_not_usable(job, job.runs[r], reading).empty()) continue;
      const auto row = static_cast<std::size_t>(at - posterior.rows.begin());
      const double own = reading.repeatability.value_or(posterior.noise.sensors[reading.sensor].within.sd);
      held_.push_back({r, reading.speed, reading.sensor, row, reading.rpm, *reading.x, reading.phase_factor,
                       std::hypot(posterior.noise.widened * own, speed_effect(job, job.runs[r], reading)),
                       *reading.x});
      amplitudes[row].push_back(std::abs(*reading.x));
      if (runs_.empty() || runs_.back() != r) runs_.push_back(r);
    }
  }
  seating_.resize(static_cast<Index>(posterior.planes.size()));
  for (Index p = 0; p < seating_.size(); ++p)
    seating_(p) = std::pow(
        scatter.seating * heaviest_weight(job.rotor.planes[posterior.planes[static_cast<std::size_t>(p)]]),
        2);
  for (const auto& one : amplitudes) levels_.push_back(one.empty() ? 0.0 : median_of(one));
  const double usual = median_of(levels_);
  for (double& level : levels_) level = std::max({level, 0.05 * usual, 1e-9});
  for (auto& one : held_) {
    one.within_sd = std::max(one.within_sd, finest_reading * levels_[one.row]);
    if (const double most = 2.0 * levels_[one.row]; std::abs(one.x) > most)
      one.level *= most / std::abs(one.x);
  }
  believe_beforehand(prior);
  const VectorXcd foretold = expected(as_written({check}));
  Index i = 0;
  for (auto& one : held_)
    if (one.run == check) one.level = foretold(i++);
}

void RunComparison::believe_beforehand(const Prior* prior) {
  const InfluencePosterior& posterior = *model_->posterior;
  const auto planes = static_cast<Index>(posterior.planes.size()), entries = 1 + planes;
  centre_ = VectorXcd::Zero(planes);
  for (const std::size_t r : runs_) centre_ += listed_[r] / static_cast<double>(runs_.size());
  change_ = Eigen::VectorXd::Zero(planes);
  for (const std::size_t r : runs_)
    change_ = change_.cwiseMax((listed_[r] - listed_[runs_.front()]).cwiseAbs());
  for (double& one : change_)
    if (one <= 0.0) one = 1.0;
  const auto rows = static_cast<Index>(posterior.rows.size());
  before_mean_ = VectorXcd::Zero(rows * entries);
  before_covariance_ = MatrixXcd::Zero(rows * entries, rows * entries);
  for (Index i = 0; i < rows; ++i)
    before_covariance_.diagonal()
        .segment(i * entries, entries)
        .setConstant(std::pow(believed_levels * levels_[static_cast<std::size_t>(i)], 2));
  if (prior == nullptr || model_->basis != InfluenceModel::Basis::prior) return;
  fleet_ = true;
  const auto match = matched(*prior, *job_, posterior);
  const auto moments = prior_moments(*prior, match.prior);
  const auto scale = [&](std::size_t unknown) { return change_(static_cast<Index>(unknown) % entries - 1); };
  for (std::size_t a = 0; a < match.unknown.size(); ++a) {
    const auto i = static_cast<Index>(match.unknown[a]), at = 2 * static_cast<Index>(a);
    before_mean_(i) = scale(match.unknown[a]) * Phasor(moments.mean(at), moments.mean(at + 1));
    for (std::size_t b = 0; b < match.unknown.size(); ++b) {
      const auto c = moments.covariance.block<2, 2>(at, 2 * static_cast<Index>(b));
      before_covariance_(i, static_cast<Index>(match.unknown[b])) =
          scale(match.unknown[a]) * scale(match.unknown[b]) * 0.5 *
          Phasor(c(0, 0) + c(1, 1), c(1, 0) - c(0, 1));
    }
  }
}

std::vector<HeldReading> RunComparison::readings_of(const std::vector<std::size_t>& runs) const {
  std::vector<HeldReading> readings;
  for (const std::size_t run : runs)
    for (const auto& one : held_)
      if (one.run == run) readings.push_back(one);
  return readings;
}

Eigen::VectorXcd RunComparison::listed(std::size_t run) const { return listed_[run]; }

bool RunComparison::is_foretold(std::size_t run) const {
  if (run == check_ || fleet_) return true;
  std::vector<std::size_t> others = runs_;
  std::erase(others, run);
  MatrixXcd all(static_cast<Index>(others.size()), 1 + centre_.size());
  for (Index r = 0; r < all.rows(); ++r)
    all.row(r) << 1.0,
        ((listed_[others[static_cast<std::size_t>(r)]] - centre_).cwiseQuotient(change_.cast<Phasor>()))
            .transpose();
  return rank_of(all, 1e3 * rank_tolerance) == all.cols();
}

Hypothesis RunComparison::as_written(const std::vector<std::size_t>& runs) const {
  Hypothesis one;
  one.what = "as written down";
  one.runs = runs;
  const auto readings = readings_of(runs);
  one.readings.resize(static_cast<Index>(readings.size()));
  for (std::size_t i = 0; i < readings.size(); ++i) one.readings(static_cast<Index>(i)) = readings[i].x;
  one.unbalance.resize(static_cast<Index>(runs.size()), centre_.size());
  for (std::size_t r = 0; r < runs.size(); ++r)
    one.unbalance.row(static_cast<Index>(r)) = listed_[runs[r]].transpose();
  return one;
}

Eigen::MatrixXcd RunComparison::design(const std::vector<HeldReading>& readings,
                                       const std::vector<std::size_t>& runs,
                                       const MatrixXcd& unbalance) const {
  const Index entries = 1 + centre_.size();
  MatrixXcd all = MatrixXcd::Zero(static_cast<Index>(readings.size()), before_mean_.size());
  for (Index i = 0; i < all.rows(); ++i) {
    const HeldReading& one = readings[static_cast<std::size_t>(i)];
    const auto r = static_cast<Index>(std::find(runs.begin(), runs.end(), one.run) - runs.begin());
    const Index at = static_cast<Index>(one.row) * entries;
    all(i, at) = 1.0;
    all.row(i).segment(at + 1, entries - 1) =
        (unbalance.row(r) - centre_.transpose()).cwiseQuotient(change_.transpose().cast<Phasor>());
  }
  return all;
}

Eigen::MatrixXcd RunComparison::noise(const std::vector<HeldReading>& readings) const {
  const InfluencePosterior& posterior = *model_->posterior;
  const auto n = static_cast<Index>(readings.size()), planes = centre_.size();
  MatrixXcd c(n, planes);
  for (Index i = 0; i < n; ++i)
    for (Index p = 0; p < planes; ++p)
      c(i, p) = posterior.unknowns.at(
          posterior.entry(readings[static_cast<std::size_t>(i)].row, 1 + static_cast<std::size_t>(p)));
  MatrixXcd covariance = MatrixXcd::Zero(n, n);
  for (Index i = 0; i < n; ++i) {
    const HeldReading& one = readings[static_cast<std::size_t>(i)];
    const SensorNoise& mine = posterior.noise.sensors[one.sensor];
    const double share =
        mine.proportional > 0.0 ? posterior.noise.widened * mine.proportional : scatter_.of_reading;
    covariance(i, i) += one.within_sd * one.within_sd + share * share * std::norm(one.level);
    for (Index j = 0; j < n; ++j) {
      const HeldReading& other = readings[static_cast<std::size_t>(j)];
      if (one.run != other.run) continue;
      const SensorNoise& theirs = posterior.noise.sensors[other.sensor];
      using enum NoisePart::Source;
      if (mine.run_to_run.source == unknown && theirs.run_to_run.source == unknown)
        covariance(i, j) += std::pow(scatter_.of_run, 2) * one.level * std::conj(other.level);
      if (mine.run_to_run.source != unknown && one.sensor == other.sensor)
        covariance(i, j) += std::pow(posterior.noise.widened * mine.run_to_run.sd, 2);
      for (Index p = 0; p < planes; ++p) {
        double moment = fitting_[one.run](p);
        if (mine.run_to_run.source == unknown && theirs.run_to_run.source == unknown) moment += seating_(p);
        covariance(i, j) += moment * c(i, p) * std::conj(c(j, p));
      }
    }
  }
  return covariance;
}

RunComparison::Foretold RunComparison::from_others(const std::vector<std::size_t>& runs, double scale) const {
  std::vector<std::size_t> others;
  for (const std::size_t r : runs_)
    if (!is_among(runs, r)) others.push_back(r);
  if (others.empty()) return {before_mean_, before_covariance_};
  const auto readings = readings_of(others);
  const Hypothesis written = as_written(others);
  const MatrixXcd x = design(readings, others, written.unbalance);
  const MatrixXcd across = before_covariance_ * x.adjoint();
  const MatrixXcd s = x * across + scale * scale * noise(readings);
  const Eigen::LLT<MatrixXcd> factor(s);
  return {before_mean_ + across * factor.solve(VectorXcd(written.readings - x * before_mean_)),
          before_covariance_ - across * factor.solve(MatrixXcd(across.adjoint()))};
}

/// Of the check run, where the model knows more than the runs: that weights cancel most of the vibration. How
/// well it knows that it tells itself, whatever the scatter.
RunComparison::Foretold RunComparison::from_model() const {
  const PhasorDistribution& known = model_->posterior->unknowns;
  const Index entries = 1 + centre_.size(), n = before_mean_.size();
  MatrixXcd covariance(n, n);
  VectorXcd mean(n);
  for (Index i = 0; i < n; ++i) {
    mean(i) = known.at(static_cast<std::size_t>(i));
    for (Index j = 0; j < n; ++j) {
      const auto c = known.covariance.block<2, 2>(2 * i, 2 * j);
      covariance(i, j) = 0.5 * Phasor(c(0, 0) + c(1, 1), c(1, 0) - c(0, 1));
    }
  }
  MatrixXcd to_centre = MatrixXcd::Identity(n, n);  // (X0, C) to (X0 at the centre, C change)
  for (Index i = 0; i < n; i += entries) {
    to_centre.row(i).segment(i + 1, entries - 1) = centre_.transpose();
    to_centre.diagonal().segment(i + 1, entries - 1) = change_.cast<Phasor>();
  }
  return {to_centre * mean, to_centre * covariance * to_centre.adjoint()};
}

const RunComparison::Foretold& RunComparison::foretold(const std::vector<std::size_t>& runs,
                                                       double scale) const {
  const std::pair key{runs, scale};
  const auto known = memory_.find(key);
  if (known != memory_.end()) return known->second;
  const bool of_check = runs.size() == 1 && runs.front() == check_;
  const bool by_model = of_check && model_->basis == InfluenceModel::Basis::small_residual;
  return memory_.emplace(key, by_model ? from_model() : from_others(runs, scale)).first->second;
}

Eigen::VectorXcd RunComparison::expected(const Hypothesis& one) const {
  return design(readings_of(one.runs), one.runs, one.unbalance) * foretold(one.runs, 1.0).mean;
}

Judged RunComparison::judged(const Hypothesis& one) const {
  const auto readings = readings_of(one.runs);
  const MatrixXcd x = design(readings, one.runs, one.unbalance);
  Judged sum{-std::numeric_limits<double>::infinity(), 0.0};
  for (std::size_t k = 0; k < std::size(scatter_scales); ++k) {
    const double scale = scatter_scales[k];
    const double share =
        names_a_cause(one.kind) ? scale_shares[k] : 1.0 / static_cast<double>(std::size(scatter_scales));
    const Foretold& others = foretold(one.runs, scale);
    const VectorXcd mean = x * others.mean;
    MatrixXcd s = x * others.covariance * x.adjoint();
    s += scale * scale * noise(readings);
    if (one.moment_sd.size() > 0) {
      MatrixXcd c = MatrixXcd::Zero(x.rows(), centre_.size());
      for (Index i = 0; i < c.rows(); ++i)
        for (Index p = 0; p < c.cols(); ++p)
          c(i, p) = model_->posterior->unknowns.at(model_->posterior->entry(
              readings[static_cast<std::size_t>(i)].row, 1 + static_cast<std::size_t>(p)));
      s += c * one.moment_sd.cwiseAbs2().cast<Phasor>().asDiagonal() * c.adjoint();
    }
    if (one.gain_sd > 0.0) s += one.gain_sd * one.gain_sd * mean * mean.adjoint();
    if (one.noise_sd.size() > 0) s.diagonal() += one.noise_sd.cwiseAbs2().cast<Phasor>();
    const Judged found = circular_gaussian(s, one.readings - mean);
    sum.log_density = log_sum(sum.log_density, found.log_density + std::log(share));
    if (k == 0) sum.misfit = found.misfit;
  }
  sum.log_density += one.log_volume;
  return sum;
}

double RunComparison::spread(const Hypothesis& one) const {
  if (fleet_ || one.runs.front() == check_) return 0.0;
  const auto supposed = [&](std::size_t run) {
    const auto at = std::find(one.runs.begin(), one.runs.end(), run);
    return at == one.runs.end() ? listed_[run]
                                : VectorXcd(one.unbalance.row(at - one.runs.begin()).transpose());
  };
  Eigen::VectorXd change = Eigen::VectorXd::Zero(centre_.size());
  for (const std::size_t run : runs_)
    change = change.cwiseMax((supposed(run) - supposed(runs_.front())).cwiseAbs());
  double log_factor = 0.0;
  for (Index p = 0; p < change.size(); ++p)
    if (change(p) > 0.0) log_factor += std::log(change(p) / change_(p));
  return 2.0 * static_cast<double>(levels_.size()) * log_factor;
}

std::optional<Eigen::VectorXcd> RunComparison::foretold_check(const Hypothesis& one) const {
  const bool of_readings = one.readings != as_written(one.runs).readings || one.log_volume != 0.0 ||
                           one.noise_sd.size() > 0 || one.moment_sd.size() > 0 || one.gain_sd > 0.0;
  if (of_readings) return std::nullopt;
  const RunComparison after = corrected(one);
  return after.expected(after.as_written({check_}));
}

double RunComparison::apart(const VectorXcd& one, const VectorXcd& other) const {
  const Hypothesis written = as_written({check_});
  const auto readings = readings_of(written.runs);
  const MatrixXcd x = design(readings, written.runs, written.unbalance);
  const MatrixXcd s = x * foretold(written.runs, 1.0).covariance * x.adjoint() + noise(readings);
  const Eigen::LLT<MatrixXcd> factor(s);
  return factor.matrixL().solve(VectorXcd(one - other)).squaredNorm();
}

RunComparison RunComparison::corrected(const Hypothesis& one) const {
  RunComparison after = *this;
  after.memory_.clear();
  const auto written = readings_of(one.runs);
  Index i = 0;
  for (const std::size_t run : one.runs)
    for (auto& held : after.held_)
      if (held.run == run) held.x = one.readings(i++);
  for (std::size_t r = 0; r < one.runs.size(); ++r)
    after.listed_[one.runs[r]] = one.unbalance.row(static_cast<Index>(r)).transpose();
  return after;
}

}  // namespace trimwright

#include <Eigen/Cholesky>
#include <algorithm>
#include <boost/math/special_functions/bessel.hpp>
#include <cmath>
#include <iterator>
#include <limits>

#include "base/linear_algebra.hpp"
#include "run_comparison.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::VectorXcd;

/// Beforehand, of `scatter_scales`: what is stated is taken at its word. Where nothing considered is to
/// explain the readings each is as likely.
constexpr double scale_shares[] = {0.9, 0.08, 0.02};
static_assert(std::size(scale_shares) == std::size(scatter_scales));

/// Circular complex Gaussian with covariance S per real component: -n log 2 pi - log det S - d^H S^-1 d / 2.
Judged circular_gaussian(const MatrixXcd& s, const VectorXcd& d) {
  const Eigen::LLT<MatrixXcd> factor(s);
  if (factor.info() != Eigen::Success) return {-std::numeric_limits<double>::infinity(), 0.0};
  const double log_det = 2.0 * factor.matrixLLT().diagonal().real().array().log().sum();
  const double squares = factor.matrixL().solve(d).squaredNorm();
  return {-static_cast<double>(d.size()) * std::log(2.0 * M_PI) - log_det - 0.5 * squares, squares};
}

/// The same of x = mean turned by an angle, any as likely: the density over the circle is K exp(k cos) (R.
/// von Mises, *Physik. Z.* 19 (1918)), its mean K I0(k).
Judged any_turn_gaussian(const MatrixXcd& s, const VectorXcd& x, const VectorXcd& mean) {
  const Eigen::LLT<MatrixXcd> factor(s);
  if (factor.info() != Eigen::Success) return {-std::numeric_limits<double>::infinity(), 0.0};
  const double log_det = 2.0 * factor.matrixLLT().diagonal().real().array().log().sum();
  const VectorXcd read = factor.matrixL().solve(x), foretold = factor.matrixL().solve(mean);
  const double k = std::abs(foretold.dot(read));
  const double log_i0 =
      k < 500.0 ? std::log(boost::math::cyl_bessel_i(0, k)) : k - 0.5 * std::log(2.0 * M_PI * k);
  const double squares = read.squaredNorm() + foretold.squaredNorm();
  return {-static_cast<double>(x.size()) * std::log(2.0 * M_PI) - log_det - 0.5 * squares + log_i0,
          squares - 2.0 * k};
}

bool is_among(const std::vector<std::size_t>& runs, std::size_t run) {
  return std::find(runs.begin(), runs.end(), run) != runs.end();
}

}  // namespace

double log_sum(double a, double b) {
  if (a == -std::numeric_limits<double>::infinity()) return b;
  if (b == -std::numeric_limits<double>::infinity()) return a;
  return std::max(a, b) + std::log1p(std::exp(-std::abs(a - b)));
}

Eigen::MatrixXcd RunComparison::design(const std::vector<HeldReading>& readings,
                                       const std::vector<std::size_t>& runs,
                                       const MatrixXcd& unbalance) const {
  const Index entries = this->entries(), planes = centre_.size();
  MatrixXcd all = MatrixXcd::Zero(static_cast<Index>(readings.size()), before_mean_.size());
  for (Index i = 0; i < all.rows(); ++i) {
    const HeldReading& one = readings[static_cast<std::size_t>(i)];
    const auto r = static_cast<Index>(std::find(runs.begin(), runs.end(), one.run) - runs.begin());
    const Index at = static_cast<Index>(one.row) * entries;
    all(i, at) = 1.0;
    all.row(i).segment(at + 1, planes) =
        (unbalance.row(r) - centre_.transpose()).cwiseQuotient(change_.transpose().cast<Phasor>());
    all.row(i).segment(at + 1 + planes, shifts_.cols()) =
        shifts_.row(static_cast<Index>(one.run)).cast<Phasor>();
  }
  return all;
}

Eigen::MatrixXcd RunComparison::noise(const std::vector<HeldReading>& readings) const {
  const InfluencePosterior& posterior = *model_->posterior;
  const auto n = static_cast<Index>(readings.size()), planes = centre_.size();
  const MatrixXcd c = moment_effects(readings);
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
  if (posterior.events.empty()) return covariance;
  MatrixXcd unsure(n, static_cast<Index>(posterior.events.size()));
  for (Index i = 0; i < n; ++i) unsure.row(i) = readings[static_cast<std::size_t>(i)].unsure.transpose();
  return covariance + 0.5 * unsure * posterior.events_covariance.cast<Phasor>() * unsure.adjoint();
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
  const Index entries = this->entries(), n = before_mean_.size(), m = known.mean.size() / 2;
  MatrixXcd covariance =
      before_covariance_;  // of baselines before a new one, which the check run does not ask
  VectorXcd mean = VectorXcd::Zero(n);
  for (Index i = 0; i < m; ++i) {
    mean(place_of_unknown(static_cast<std::size_t>(i))) = known.at(static_cast<std::size_t>(i));
    for (Index j = 0; j < m; ++j)
      covariance(place_of_unknown(static_cast<std::size_t>(i)),
                 place_of_unknown(static_cast<std::size_t>(j))) =
          circular_part(known.covariance.block<2, 2>(2 * i, 2 * j));
  }
  MatrixXcd to_centre = MatrixXcd::Identity(n, n);  // (X0, C) to (X0 at the centre, C change)
  for (Index i = 0; i < n; i += entries) {
    to_centre.row(i).segment(i + 1, centre_.size()) = centre_.transpose();
    to_centre.diagonal().segment(i + 1, centre_.size()) = change_.cast<Phasor>();
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
  constexpr double most_numbers = 2e7;
  if (static_cast<double>(memory_.size()) * std::pow(static_cast<double>(before_mean_.size()), 2) >
      most_numbers)
    memory_.clear();
  return memory_.emplace(key, by_model ? from_model() : from_others(runs, scale)).first->second;
}

RunComparison::Foretold RunComparison::foretold_readings(const Hypothesis& one) const {
  const auto readings = readings_of(one.runs);
  const MatrixXcd x = design(readings, one.runs, one.unbalance);
  const Foretold& others = foretold(one.runs, 1.0);
  return {x * others.mean, x * others.covariance * x.adjoint() + noise(readings)};
}

Eigen::VectorXcd RunComparison::expected(const Hypothesis& one) const {
  return design(readings_of(one.runs), one.runs, one.unbalance) * foretold(one.runs, 1.0).mean;
}

NextReadings RunComparison::next_readings() const {
  NextReadings next;
  next.readings = readings_of({check_});
  const Hypothesis written = as_written({check_});
  const MatrixXcd x = design(next.readings, written.runs, written.unbalance);
  const Foretold& others = foretold(written.runs, 1.0);
  next.mean = x * others.mean;
  next.unsure = x * others.covariance * x.adjoint();
  next.noise = noise(next.readings);
  return next;
}

Judged RunComparison::judged(const Hypothesis& one) const {
  const auto readings = readings_of(one.runs);
  const MatrixXcd x = design(readings, one.runs, one.unbalance);
  Judged sum{-std::numeric_limits<double>::infinity(), 0.0};
  for (std::size_t k = 0; k < std::size(scatter_scales); ++k) {
    const double scale = scatter_scales[k];
    const double share = one.kind == MistakeKind::none_of_these
                             ? 1.0 / static_cast<double>(std::size(scatter_scales))
                             : scale_shares[k];
    const Foretold& others = foretold(one.runs, scale);
    const VectorXcd mean = x * others.mean;
    MatrixXcd s = x * others.covariance * x.adjoint();
    s += scale * scale * noise(readings);
    if (one.moment_sd.size() > 0) {
      const MatrixXcd c = moment_effects(readings);
      s += c * one.moment_sd.cwiseAbs2().cast<Phasor>().asDiagonal() * c.adjoint();
    }
    if (one.gain_sd > 0.0) s += one.gain_sd * one.gain_sd * mean * mean.adjoint();
    if (one.noise_sd.size() > 0) s.diagonal() += one.noise_sd.cwiseAbs2().cast<Phasor>();
    if (one.shapes.cols() > 0) s += one.shapes * one.shapes.adjoint();
    const Judged found =
        one.any_turn ? any_turn_gaussian(s, one.readings, mean) : circular_gaussian(s, one.readings - mean);
    sum.log_density = log_sum(sum.log_density, found.log_density + std::log(share));
    if (k == 0) sum.misfit = found.misfit;
  }
  sum.log_density += one.log_volume;
  return sum;
}

Eigen::MatrixXcd RunComparison::moment_effects(const std::vector<HeldReading>& readings) const {
  MatrixXcd c(static_cast<Index>(readings.size()), centre_.size());
  for (Index i = 0; i < c.rows(); ++i)
    for (Index p = 0; p < c.cols(); ++p)
      c(i, p) = model_->posterior->unknowns.at(model_->posterior->entry(
          readings[static_cast<std::size_t>(i)].row, 1 + static_cast<std::size_t>(p)));
  return c;
}

ToldUnknowns RunComparison::told(const Hypothesis& one) const {
  const Foretold seen = foretold_readings(one);
  const Eigen::LLT<MatrixXcd> s(seen.covariance);
  MatrixXcd shapes = one.shapes;
  Eigen::VectorXd unit = Eigen::VectorXd::Ones(shapes.cols());
  if (one.moment_sd.size() > 0) {
    unit = one.moment_sd;
    shapes = moment_effects(readings_of(one.runs)) * one.moment_sd.cast<Phasor>().asDiagonal();
  }
  const MatrixXcd white = s.matrixL().solve(shapes);
  const VectorXcd off = s.matrixL().solve(VectorXcd(one.readings - seen.mean));
  const Index n = shapes.cols();
  const Eigen::LLT<MatrixXcd> precision(MatrixXcd::Identity(n, n) + white.adjoint() * white);
  const MatrixXcd covariance = precision.solve(MatrixXcd(MatrixXcd::Identity(n, n)));
  return {unit.cast<Phasor>().asDiagonal() * (covariance * (white.adjoint() * off)),
          unit.cwiseProduct(covariance.diagonal().real().cwiseSqrt())};
}

ToldTurn RunComparison::told_turn(const Hypothesis& one) const {
  const Foretold seen = foretold_readings(one);
  const Eigen::LLT<MatrixXcd> s(seen.covariance);
  const VectorXcd read = s.matrixL().solve(one.readings), mean = s.matrixL().solve(seen.mean);
  const Phasor along = mean.dot(read);
  return {std::arg(along), 1.0 / std::sqrt(std::max(std::abs(along), 1e-300))};
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
                           one.noise_sd.size() > 0 || one.moment_sd.size() > 0 || one.gain_sd > 0.0 ||
                           one.any_turn || one.shapes.cols() > 0;
  if (of_readings) return std::nullopt;
  const RunComparison after = corrected(one);
  return after.expected(after.as_written({check_}));
}

double RunComparison::apart(const VectorXcd& one, const VectorXcd& other) const {
  const Eigen::LLT<MatrixXcd> factor(foretold_readings(as_written({check_})).covariance);
  return factor.matrixL().solve(VectorXcd(one - other)).squaredNorm();
}

}  // namespace trimwright

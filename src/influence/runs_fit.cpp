#include "runs_fit.hpp"

#include <algorithm>
#include <cmath>

#include "base/chance.hpp"
#include "base/linear_algebra.hpp"
#include "events.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// V^-1/2 of consecutive readings that share a run.
struct WhitenedRun {
  Index from = 0;
  MatrixXd whiten;
};

/// Readings `own` of a fit (by run) that nothing ties to others: their noise whitened run by run, then
/// Householder's QR.
void fit_tied(const JointSystem& system, const NoiseModel& noise, const MatrixXcd& designs,
              const std::vector<Index>& own, SensorFit& fit) {
  const Index n = static_cast<Index>(own.size()), entries = designs.cols();
  const auto reading = [&](Index i) -> const JointReading& {
    return system.readings[fit.readings[static_cast<std::size_t>(own[static_cast<std::size_t>(i)])]];
  };
  const auto row_of = [&](Index i) {
    return std::lower_bound(fit.rows.begin(), fit.rows.end(), reading(i).row) - fit.rows.begin();
  };
  const auto planes = static_cast<Index>(system.planes.size());
  const auto unknown_of = [&](Index row, Index q) {
    const bool shared = q > 0 && q <= planes;
    return static_cast<std::size_t>((shared ? fit.shares[static_cast<std::size_t>(row)] : row) * entries + q);
  };
  Index unknowns = 0;  // of the fit
  std::vector<Index> column(static_cast<std::size_t>(entries) * fit.rows.size(), -1);
  for (Index i = 0; i < n; ++i)
    for (Index q = 0; q < entries; ++q) {
      Index& at = column[unknown_of(row_of(i), q)];
      if (at < 0 && designs(static_cast<Index>(reading(i).run), q) != 0.0) at = unknowns++;
    }
  std::vector<Index> to, from;  // entries of the estimate, and where the fit has them
  for (Index row = 0; row < static_cast<Index>(fit.rows.size()); ++row)
    for (Index q = 0; q < entries; ++q)
      if (const Index at = column[unknown_of(row, q)]; at >= 0) {
        to.push_back(row * entries + q);
        from.push_back(at);
      }
  MatrixXcd equations = MatrixXcd::Zero(n, unknowns);
  VectorXcd x(n);
  for (Index i = 0; i < n; ++i) {
    x(i) = reading(i).x;
    for (Index q = 0; q < entries; ++q)
      if (const Index at = column[unknown_of(row_of(i), q)]; at >= 0)
        equations(i, at) = designs(static_cast<Index>(reading(i).run), q);
  }
  std::vector<WhitenedRun> runs;
  MatrixXcd white_equations(n, unknowns);
  VectorXcd white_x(n);
  double log_determinant = 0.0;
  for (Index first = 0, end = 0; first < n; first = end) {
    std::vector<std::size_t> together;
    for (; end < n && reading(end).run == reading(first).run; ++end)
      together.push_back(fit.readings[static_cast<std::size_t>(own[static_cast<std::size_t>(end)])]);
    const Index count = end - first;
    const MatrixXd covariance = readings_covariance(system, noise, together);
    const MatrixXd factor = cholesky(covariance);
    const MatrixXd whiten = lower_solve(factor, MatrixXd(MatrixXd::Identity(count, count)));
    log_determinant += 2.0 * factor.diagonal().array().log().sum();
    white_equations.middleRows(first, count) = whiten * equations.middleRows(first, count);
    white_x.segment(first, count) = whiten * x.segment(first, count);
    for (Index i = first; i < end; ++i)
      fit.variance(own[static_cast<std::size_t>(i)]) = covariance(i - first, i - first);
    runs.push_back({first, whiten});
  }
  const auto white = least_squares(white_equations, white_x);
  fit.estimate(to) = white.solution(from);
  fit.covariance(to, to) = MatrixXcd(white.root * white.root.adjoint())(from, from);
  fit.residual(own) = x - equations * white.solution;
  for (const auto& run : runs) {
    const Index count = run.whiten.rows();
    const MatrixXcd through = white.basis.middleRows(run.from, count).adjoint() * run.whiten;
    const VectorXcd pull = run.whiten.transpose() * white.residual.segment(run.from, count);
    for (Index i = 0; i < count; ++i) {
      const Index at = own[static_cast<std::size_t>(run.from + i)];
      const double information = run.whiten.col(i).squaredNorm(), taken = through.col(i).squaredNorm();
      fit.pull(at) = pull(i);
      fit.leverage(at) = std::min(1.0, taken / information);
      fit.pull_variance(at) = information - taken;
      for (Index q = 0; q < entries; ++q)
        if (const Index c = column[unknown_of(row_of(run.from + i), q)]; c >= 0)
          fit.gain(q, at) = (white.root.row(c) * through.col(i)).value();
    }
  }
  const Index spare = n - unknowns;
  const double misfit = spare > 0 ? white.residual.squaredNorm() : 0.0;
  fit.spare += static_cast<int>(spare);
  fit.misfit += misfit;
  fit.log_likelihood += -0.5 * misfit - log_determinant - white.log_determinant;
}

double misfit_of(const RunsFit& fit, const std::vector<SensorFit>& sensors) {
  double sum = 0.0;
  for (const auto& sensor : sensors)
    if (fit.is_judged(sensor)) sum += sensor.misfit;
  return sum;
}

/// `sensors` with the noise that is stated alone, where some run-to-run change was estimated.
void fit_as_stated(RunsFit& fit) {
  fit.as_stated = fit.sensors;
  RunsFit stated{fit.system, fit.noise, {}, {}};
  bool differs = false;
  for (auto& one : stated.noise.sensors) {
    if (one.within.source != NoisePart::Source::stated || one.run_to_run.source == NoisePart::Source::stated)
      continue;
    differs = differs || one.run_to_run.sd > 0.0;
    one.run_to_run.sd = 0.0;
  }
  if (!differs) return;
  fit_sensors(stated);
  fit.as_stated = std::move(stated.sensors);
}

/// The level of every reading, as fitted.
void take_levels(RunsFit& fit) {
  for (const auto& sensor : fit.sensors)
    for (std::size_t i = 0; i < sensor.readings.size(); ++i) {
      auto& reading = fit.system.readings[sensor.readings[i]];
      reading.level = std::abs(reading.x - sensor.residual(static_cast<Index>(i)));
    }
}

}  // namespace

bool RunsFit::is_judged(const SensorFit& sensor) const {
  const std::size_t s = system.readings[sensor.readings.front()].sensor;
  return noise.sensors[s].within.source == NoisePart::Source::stated;
}

double RunsFit::judged_misfit() const { return misfit_of(*this, as_stated); }

int RunsFit::judged_freedom() const {
  int sum = 0;
  for (const auto& sensor : sensors)
    if (is_judged(sensor)) sum += 2 * sensor.spare;
  return std::max(0, sum - static_cast<int>(system.open_events().size()));
}

void widen_where_rejected(NoiseModel& noise, double misfit, int freedom) {
  if (freedom <= 0) return;
  if (chance_of_chi_squared(misfit, freedom) >= doubtful_fit) return;
  noise.widened = std::sqrt(misfit / freedom);
  noise.degrees_of_freedom = std::min<double>(noise.degrees_of_freedom, freedom);
}

SensorFit fit_readings(const JointSystem& system, const NoiseModel& noise, std::vector<std::size_t> readings,
                       const MatrixXcd& designs) {
  SensorFit fit;
  for (const std::size_t i : readings) fit.rows.push_back(system.readings[i].row);
  std::sort(fit.rows.begin(), fit.rows.end());
  fit.rows.erase(std::unique(fit.rows.begin(), fit.rows.end()), fit.rows.end());
  for (const std::size_t row : fit.rows)
    fit.shares.push_back(
        std::find_if(fit.rows.begin(), fit.rows.end(),
                     [&](std::size_t other) { return system.shares[other] == system.shares[row]; }) -
        fit.rows.begin());
  fit.readings = std::move(readings);
  const Index n = static_cast<Index>(fit.readings.size());
  const Index unknowns = designs.cols() * static_cast<Index>(fit.rows.size());
  fit.estimate = VectorXcd::Zero(unknowns);
  fit.gain = MatrixXcd::Zero(designs.cols(), n);
  fit.covariance = MatrixXcd::Zero(unknowns, unknowns);
  fit.residual.resize(n);
  fit.variance.resize(n);
  fit.pull.resize(n);
  fit.pull_variance.resize(n);
  fit.leverage.resize(n);
  const std::size_t sensor = system.readings[fit.readings.front()].sensor;
  const bool tied = noise.sensors[sensor].run_to_run.sd > 0.0;
  std::vector<std::vector<Index>> parts(tied ? 1 : fit.rows.size());
  for (Index i = 0; i < n; ++i) {
    const std::size_t row = system.readings[fit.readings[static_cast<std::size_t>(i)]].row;
    const auto at = std::lower_bound(fit.rows.begin(), fit.rows.end(), row) - fit.rows.begin();
    parts[tied ? 0 : static_cast<std::size_t>(fit.shares[static_cast<std::size_t>(at)])].push_back(i);
  }
  for (const auto& part : parts)
    if (!part.empty()) fit_tied(system, noise, designs, part, fit);
  return fit;
}

MatrixXcd run_designs(const JointSystem& system) {
  MatrixXcd designs(static_cast<Index>(system.runs.size()), system.entries());
  designs << Eigen::VectorXcd::Ones(designs.rows()), system.unbalance, system.shifts.cast<Phasor>();
  return designs;
}

void fit_sensors(RunsFit& fit) {
  fit.sensors.clear();
  const MatrixXcd designs = run_designs(fit.system);
  std::vector<std::vector<std::size_t>> own(fit.noise.sensors.size());
  for (std::size_t i = 0; i < fit.system.readings.size(); ++i)
    own[fit.system.readings[i].sensor].push_back(i);
  for (auto& readings : own)
    if (!readings.empty())
      fit.sensors.push_back(fit_readings(fit.system, fit.noise, std::move(readings), designs));
}

RunsFit fit_runs(const Job& job, const JointSystem& settled) {
  constexpr int rounds = 4;
  RunsFit fit;
  fit.system = settled;
  fit.noise = noise_of(job, fit.system);
  settle_events(fit.system, fit.noise);
  fit_sensors(fit);
  const bool again = !fit.system.open_events().empty() ||
                     std::any_of(fit.noise.sensors.begin(), fit.noise.sensors.end(),
                                 [](const SensorNoise& one) { return one.proportional > 0.0; });
  for (int round = 1; again && round < rounds; ++round) {
    take_levels(fit);
    fit.noise = noise_of(job, fit.system);
    settle_events(fit.system, fit.noise);
    fit_sensors(fit);
  }
  widen_where_rejected(fit.noise, misfit_of(fit, fit.sensors), fit.judged_freedom());
  fit_as_stated(fit);
  return fit;
}

InfluencePosterior posterior_of(const RunsFit& fit) {
  if (!fit.system.open_events().empty() || fit.system.shifts.cols() > 0)
    return joint_fit(fit.system, fit.noise, nullptr).posterior;
  const Index entries = 1 + static_cast<Index>(fit.system.planes.size());
  const Index unknowns = 2 * entries * static_cast<Index>(fit.system.rows.size());
  InfluencePosterior posterior;
  posterior.events = fit.system.events;
  posterior.rows = fit.system.rows;
  posterior.planes = fit.system.planes;
  posterior.noise = fit.noise;
  posterior.unknowns.degrees_of_freedom = fit.noise.degrees_of_freedom;
  posterior.unknowns.mean.resize(unknowns);
  posterior.unknowns.covariance = MatrixXd::Zero(unknowns, unknowns);
  const double widened = fit.noise.widened * fit.noise.widened;
  for (const auto& sensor : fit.sensors) {
    const auto at = [&](Index j) {
      return 2 *
             (static_cast<Index>(sensor.rows[static_cast<std::size_t>(j / entries)]) * entries + j % entries);
    };
    for (Index j = 0; j < sensor.estimate.size(); ++j) {
      posterior.unknowns.mean.segment<2>(at(j)) << sensor.estimate(j).real(), sensor.estimate(j).imag();
      for (Index k = 0; k < sensor.estimate.size(); ++k) {
        posterior.unknowns.covariance.block<2, 2>(at(j), at(k)) = as_real(widened * sensor.covariance(j, k));
      }
    }
    posterior.misfit += sensor.misfit;
    posterior.misfit_dof += 2 * sensor.spare;
  }
  return posterior;
}

}  // namespace trimwright

#include "runs_fit.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

#include "base/linear_algebra.hpp"
#include "events.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// Readings and rows of a sensor, and its equations; a column for every entry that some reading uses
/// (`used`).
MatrixXcd sensor_equations(const JointSystem& system, std::size_t sensor, const MatrixXcd& designs,
                           SensorFit& fit, std::vector<Index>& used) {
  for (std::size_t i = 0; i < system.readings.size(); ++i)
    if (system.readings[i].sensor == sensor) fit.readings.push_back(i);
  for (std::size_t i = 0; i < system.rows.size(); ++i)
    if (system.rows[i].second == sensor) fit.rows.push_back(i);
  const Index entries = designs.cols();
  MatrixXcd all =
      MatrixXcd::Zero(static_cast<Index>(fit.readings.size()), entries * static_cast<Index>(fit.rows.size()));
  for (std::size_t i = 0; i < fit.readings.size(); ++i) {
    const auto& reading = system.readings[fit.readings[i]];
    const auto row = std::find(fit.rows.begin(), fit.rows.end(), reading.row) - fit.rows.begin();
    all.row(static_cast<Index>(i)).segment(row * entries, entries) =
        designs.row(static_cast<Index>(reading.run));
  }
  for (Index c = 0; c < all.cols(); ++c)
    if (!all.col(c).isZero(0.0)) used.push_back(c);
  return all(Eigen::all, used);
}

double misfit_of(const RunsFit& fit, const std::vector<SensorFit>& sensors) {
  double sum = 0.0;
  for (const auto& sensor : sensors)
    if (fit.is_judged(sensor)) sum += sensor.misfit;
  return sum;
}

/// Widens the noise where chi-squared rejects the misfit (below 1 %), the residuals in its own units.
void widen_where_rejected(RunsFit& fit) {
  constexpr double doubtful = 0.01;
  const int freedom = fit.judged_freedom();
  if (freedom <= 0) return;
  const double misfit = misfit_of(fit, fit.sensors);
  const boost::math::chi_squared distribution(freedom);
  if (boost::math::cdf(boost::math::complement(distribution, misfit)) >= doubtful) return;
  fit.noise.widened = std::sqrt(misfit / freedom);
  fit.noise.degrees_of_freedom = std::min<double>(fit.noise.degrees_of_freedom, freedom);
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

SensorFit fit_sensor(const JointSystem& system, const NoiseModel& noise, std::size_t sensor,
                     const MatrixXcd& designs) {
  SensorFit fit;
  std::vector<Index> columns;
  const MatrixXcd equations = sensor_equations(system, sensor, designs, fit, columns);
  const Index unknowns = designs.cols() * static_cast<Index>(fit.rows.size());
  const Index n = equations.rows();
  VectorXcd x(n);
  for (Index i = 0; i < n; ++i) x(i) = system.readings[fit.readings[static_cast<std::size_t>(i)]].x;
  fit.noise = readings_covariance(system, noise, fit.readings);
  const MatrixXd factor = cholesky(fit.noise);
  const MatrixXd whiten = lower_solve(factor, MatrixXd(MatrixXd::Identity(n, n)));
  const auto white = least_squares(MatrixXcd(whiten * equations), VectorXcd(whiten * x));
  fit.estimate = VectorXcd::Zero(unknowns);
  fit.estimate(columns) = white.solution;
  fit.gain = MatrixXcd::Zero(unknowns, n);
  fit.gain(columns, Eigen::all) = white.root * white.basis.adjoint() * whiten;
  fit.covariance = MatrixXcd::Zero(unknowns, unknowns);
  fit.covariance(columns, columns) = white.root * white.root.adjoint();
  fit.spare = static_cast<int>(n - equations.cols());
  fit.misfit = fit.spare > 0 ? white.residual.squaredNorm() : 0.0;
  fit.residual = x - equations * white.solution;
  fit.pull = whiten.transpose() * white.residual;
  const VectorXd information = whiten.colwise().squaredNorm().transpose();
  const VectorXd used = (white.basis.adjoint() * whiten).colwise().squaredNorm().transpose();
  fit.leverage = used.cwiseQuotient(information).cwiseMin(1.0);
  fit.pull_variance = information - used;
  fit.log_likelihood =
      -0.5 * fit.misfit - 2.0 * factor.diagonal().array().log().sum() - white.log_determinant;
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
  for (std::size_t s = 0; s < fit.noise.sensors.size(); ++s) {
    const bool read = std::any_of(fit.system.readings.begin(), fit.system.readings.end(),
                                  [s](const JointReading& one) { return one.sensor == s; });
    if (read) fit.sensors.push_back(fit_sensor(fit.system, fit.noise, s, designs));
  }
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
  widen_where_rejected(fit);
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
        const Phasor c = widened * sensor.covariance(j, k);
        posterior.unknowns.covariance.block<2, 2>(at(j), at(k)) << c.real(), -c.imag(), c.imag(), c.real();
      }
    }
    posterior.misfit += sensor.misfit;
    posterior.misfit_dof += 2 * sensor.spare;
  }
  return posterior;
}

}  // namespace trimwright

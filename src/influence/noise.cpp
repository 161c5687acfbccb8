#include "trimwright/influence/noise.hpp"

#include <Eigen/QR>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

#include "joint_system.hpp"
#include "run_matrix.hpp"
#include "variance_components.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Combinations of the readings of some sensors in which the unknowns cancel: what tells of noise alone.
struct Contrasts {
  std::vector<std::size_t> readings;  ///< indices into JointSystem::readings
  MatrixXcd combine;                  ///< contrasts x readings
  VectorXd values;                    ///< real parts, then imaginary parts
  double size = 0.0;                  ///< sum of |x|^2
};

/// Unit vectors orthogonal to the columns of `design`, one per row.
MatrixXcd left_null_space(MatrixXcd design) {
  for (Index c = 0; c < design.cols(); ++c)
    if (const double norm = design.col(c).norm(); norm > 0.0) design.col(c) /= norm;
  Eigen::ColPivHouseholderQR<MatrixXcd> qr(design);
  qr.setThreshold(rank_tolerance);
  const MatrixXcd q = qr.householderQ();
  return q.rightCols(design.rows() - qr.rank()).adjoint();
}

template <class Chosen>
Contrasts contrasts_of(const JointSystem& system, Chosen chosen) {
  Contrasts contrasts;
  std::vector<MatrixXcd> parts;
  Index count = 0;
  std::vector<std::vector<std::size_t>> by_row(system.rows.size());
  for (std::size_t i = 0; i < system.readings.size(); ++i)
    if (chosen(system.readings[i].sensor)) by_row[system.readings[i].row].push_back(i);
  for (const auto& row : by_row) {
    MatrixXcd design(static_cast<Index>(row.size()), 1 + static_cast<Index>(system.planes.size()));
    for (std::size_t i = 0; i < row.size(); ++i)
      design.row(static_cast<Index>(i)) = system.design(system.readings[row[i]].run);
    parts.push_back(row.empty() ? MatrixXcd() : left_null_space(design));
    count += parts.back().rows();
    contrasts.readings.insert(contrasts.readings.end(), row.begin(), row.end());
  }
  contrasts.combine = MatrixXcd::Zero(count, static_cast<Index>(contrasts.readings.size()));
  Index at = 0, from = 0;
  for (std::size_t i = 0; i < by_row.size(); ++i) {
    contrasts.combine.block(at, from, parts[i].rows(), parts[i].cols()) = parts[i];
    at += parts[i].rows();
    from += static_cast<Index>(by_row[i].size());
  }
  Eigen::VectorXcd x(static_cast<Index>(contrasts.readings.size()));
  for (Index i = 0; i < x.size(); ++i)
    x(i) = system.readings[contrasts.readings[static_cast<std::size_t>(i)]].x;
  const Eigen::VectorXcd z = contrasts.combine * x;
  contrasts.values.resize(2 * count);
  contrasts.values << z.real(), z.imag();
  contrasts.size = x.squaredNorm();
  return contrasts;
}

/// Covariance of (real parts, imaginary parts) of contrasts of readings with covariance `k` per component.
MatrixXd seen_through(const MatrixXcd& combine, const MatrixXd& k) {
  const MatrixXcd c = combine * k.cast<std::complex<double>>() * combine.adjoint();
  MatrixXd real(2 * c.rows(), 2 * c.cols());
  real << c.real(), -c.imag(), c.imag(), c.real();
  return real;
}

/// Covariances of the readings of some contrasts, part by part.
struct Parts {
  MatrixXd stated;      ///< what is stated
  MatrixXd within;      ///< per unit variance
  MatrixXd run_to_run;  ///< per unit variance, or per squared repeatability where that is stated
  bool shares = false;  ///< some run has two readings of one sensor
};

Parts parts_of(const JointSystem& system, const NoiseModel& noise, const Contrasts& contrasts) {
  const Index n = static_cast<Index>(contrasts.readings.size());
  Parts parts{MatrixXd::Zero(n, n), MatrixXd::Identity(n, n), MatrixXd::Zero(n, n)};
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) {
      const auto& a = system.readings[contrasts.readings[static_cast<std::size_t>(i)]];
      const auto& b = system.readings[contrasts.readings[static_cast<std::size_t>(j)]];
      if (a.run != b.run || a.sensor != b.sensor) continue;
      const auto& sensor = noise.sensors[a.sensor];
      const double unit = sensor.within.source == NoisePart::Source::stated ? sensor.within.sd : 1.0;
      if (sensor.run_to_run.source == NoisePart::Source::stated)
        parts.stated(i, j) += sensor.run_to_run.sd * sensor.run_to_run.sd;
      else
        parts.run_to_run(i, j) = unit * unit;
      if (i != j) parts.shares = true;
      if (i != j) continue;
      parts.stated(i, i) += std::norm(sensor.proportional * a.x);
      if (sensor.within.source == NoisePart::Source::stated)
        parts.stated(i, i) += std::pow(a.sd.value_or(sensor.within.sd), 2);
    }
  return parts;
}

bool is_stated(const NoisePart& part) { return part.source == NoisePart::Source::stated; }

/// Satterthwaite's degrees of freedom of a variance.
double freedom_of(double variance, double its_variance) {
  return its_variance > 0.0 ? 2.0 * variance * variance / its_variance
                            : std::numeric_limits<double>::infinity();
}

/// Run-to-run change, in units of the repeatability, of all sensors that state only the latter.
void estimate_run_to_run(const JointSystem& system, NoiseModel& noise) {
  const auto open = [&](std::size_t s) {
    return is_stated(noise.sensors[s].within) && !is_stated(noise.sensors[s].run_to_run);
  };
  const Contrasts contrasts = contrasts_of(system, open);
  if (contrasts.values.size() == 0) return;
  const Parts parts = parts_of(system, noise, contrasts);
  const ComponentBlock block{contrasts.values,
                             MatrixXd(contrasts.values.size(), 0),
                             seen_through(contrasts.combine, parts.stated),
                             {seen_through(contrasts.combine, parts.run_to_run)}};
  const auto fit = restricted_likelihood({block}, VectorXd::Ones(1), VectorXd::Zero(1));
  const double share = fit.variances(0);
  for (std::size_t s = 0; s < noise.sensors.size(); ++s)
    if (open(s))
      noise.sensors[s].run_to_run = {noise.sensors[s].within.sd * std::sqrt(share),
                                     NoisePart::Source::estimated};
  noise.degrees_of_freedom =
      std::min(noise.degrees_of_freedom, freedom_of(1.0 + share, fit.covariance(0, 0)));
}

/// Both parts of one sensor that states no repeatability; false: nothing to estimate them from.
bool estimate_sensor(const JointSystem& system, std::size_t sensor, NoiseModel& noise) {
  const Contrasts contrasts = contrasts_of(system, [&](std::size_t s) { return s == sensor; });
  if (contrasts.readings.empty()) return true;
  const double size = contrasts.values.squaredNorm();
  if (contrasts.values.size() == 0 || size <= 1e-20 * contrasts.size) return false;
  const Parts parts = parts_of(system, noise, contrasts);
  auto& part = noise.sensors[sensor];
  const bool both = !is_stated(part.run_to_run) && parts.shares;
  ComponentBlock block{contrasts.values,
                       MatrixXd(contrasts.values.size(), 0),
                       seen_through(contrasts.combine, parts.stated),
                       {seen_through(contrasts.combine, parts.within)}};
  if (both) block.parts.push_back(seen_through(contrasts.combine, parts.run_to_run));
  const VectorXd start =
      VectorXd::Constant(both ? 2 : 1, size / static_cast<double>(contrasts.values.size()));
  VectorXd least = VectorXd::Zero(start.size());
  least(0) = 1e-6 * start(0);
  const auto fit = restricted_likelihood({block}, start, least);
  part.within = {std::sqrt(fit.variances(0)), NoisePart::Source::estimated};
  if (both) part.run_to_run = {std::sqrt(fit.variances(1)), NoisePart::Source::estimated};
  noise.degrees_of_freedom =
      std::min(noise.degrees_of_freedom, freedom_of(fit.variances.sum(), fit.covariance.sum()));
  return true;
}

/// What the rotor file and the readings state; a sensor counts as stated when all its readings are.
NoiseModel stated_noise(const Job& job, const JointSystem& system) {
  NoiseModel noise;
  for (std::size_t s = 0; s < job.rotor.sensors.size(); ++s) {
    const Sensor& sensor = job.rotor.sensors[s];
    SensorNoise one;
    one.proportional = sensor.proportional;
    if (sensor.run_to_run) one.run_to_run = {*sensor.run_to_run, NoisePart::Source::stated};
    double squares = 0.0;
    int count = 0, stated = 0;
    for (const auto& reading : system.readings) {
      if (reading.sensor != s) continue;
      ++count;
      if (!reading.sd) continue;
      ++stated;
      squares += *reading.sd * *reading.sd;
    }
    if (sensor.repeatability)
      one.within = {*sensor.repeatability, NoisePart::Source::stated};
    else if (stated == count && count > 0)
      one.within = {std::sqrt(squares / count), NoisePart::Source::stated};
    noise.sensors.push_back(one);
  }
  return noise;
}

}  // namespace

std::optional<NoiseModel> noise_of(const Job& job, const JointSystem& system) {
  NoiseModel noise = stated_noise(job, system);
  estimate_run_to_run(system, noise);
  for (std::size_t s = 0; s < noise.sensors.size(); ++s)
    if (!is_stated(noise.sensors[s].within) && !estimate_sensor(system, s, noise)) return std::nullopt;
  return noise;
}

void widen_where_rejected(NoiseModel& noise, double misfit, int dof) {
  constexpr double doubtful = 0.01;
  if (dof <= 0) return;
  const boost::math::chi_squared distribution(dof);
  if (boost::math::cdf(boost::math::complement(distribution, misfit)) >= doubtful) return;
  noise.widened = std::sqrt(misfit / dof);
  noise.degrees_of_freedom = std::min<double>(noise.degrees_of_freedom, dof);
}

}  // namespace trimwright

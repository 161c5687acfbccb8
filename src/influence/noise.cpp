#include "trimwright/influence.hpp"

#include <algorithm>
#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>

#include "base/linear_algebra.hpp"
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

/// Orthogonal to the columns of a row's design.
MatrixXcd design_null_space(MatrixXcd design) {
  for (Index c = 0; c < design.cols(); ++c)
    if (const double norm = design.col(c).norm(); norm > 0.0) design.col(c) /= norm;
  return left_null_space(design, rank_tolerance);
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
    MatrixXcd design(static_cast<Index>(row.size()), system.entries());
    for (std::size_t i = 0; i < row.size(); ++i)
      design.row(static_cast<Index>(i)) = system.design(system.readings[row[i]].run);
    parts.push_back(row.empty() ? MatrixXcd() : design_null_space(design));
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

/// Where open events move the contrasts to first order, an orthonormal column each: what they take of what
/// tells of noise.
MatrixXd event_directions(const JointSystem& system, const Contrasts& contrasts) {
  constexpr double none = 1e-7;  // of its length: a direction that acts here, and not as those before it
  MatrixXd directions(contrasts.values.size(), 0);
  for (const std::size_t k : system.open_events()) {
    Eigen::VectorXcd change(static_cast<Index>(contrasts.readings.size()));
    for (Index i = 0; i < change.size(); ++i) {
      const auto& reading = system.readings[contrasts.readings[static_cast<std::size_t>(i)]];
      change(i) = reading.exponents(static_cast<Index>(k)) * reading.x;
    }
    const Eigen::VectorXcd z = contrasts.combine * change;
    VectorXd along(2 * z.size());
    along << z.real(), z.imag();
    along -= directions * (directions.transpose() * along);
    if (along.norm() <= none * std::sqrt(contrasts.size)) continue;
    directions.conservativeResize(Eigen::NoChange, directions.cols() + 1);
    directions.rightCols<1>() = along.normalized();
  }
  return directions;
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
  MatrixXd within;      ///< per unit variance of a reading since the last event
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
      const double scale = a.scale * b.scale;
      if (i == j) parts.within(i, i) = scale;
      if (sensor.run_to_run.source == NoisePart::Source::stated)
        parts.stated(i, j) += sensor.run_to_run.sd * sensor.run_to_run.sd * scale;
      else
        parts.run_to_run(i, j) = unit * unit * scale;
      if (i != j) parts.shares = true;
      if (i != j) continue;
      parts.stated(i, i) += std::pow(sensor.proportional * a.level, 2);
      if (sensor.within.source == NoisePart::Source::stated)
        parts.stated(i, i) += std::pow(a.sd.value_or(sensor.within.sd) * a.scale, 2);
    }
  return parts;
}

bool is_stated(const NoisePart& part) { return part.source == NoisePart::Source::stated; }

/// Satterthwaite's degrees of freedom of a variance.
double freedom_of(double variance, double its_variance) {
  return its_variance > 0.0 ? 2.0 * variance * variance / its_variance
                            : std::numeric_limits<double>::infinity();
}

/// Parts that the contrasts of some sensors must tell: of one sensor its repeatability and, where runs show
/// it, its run-to-run change; or of all that state the former the latter, in units of it.
struct OpenNoise {
  std::vector<std::size_t> sensors;
  bool in_units_of_repeatability = false;
  ComponentBlock block;
  double size = 0.0;  ///< mean square of the contrasts
};

/// Run-to-run change of all sensors that state only their repeatability; empty: there are none, or no
/// contrast.
std::optional<OpenNoise> open_run_to_run(const JointSystem& system, const NoiseModel& noise) {
  OpenNoise open;
  open.in_units_of_repeatability = true;
  for (std::size_t s = 0; s < noise.sensors.size(); ++s)
    if (is_stated(noise.sensors[s].within) && !is_stated(noise.sensors[s].run_to_run))
      open.sensors.push_back(s);
  const Contrasts contrasts = contrasts_of(system, [&](std::size_t s) {
    return std::find(open.sensors.begin(), open.sensors.end(), s) != open.sensors.end();
  });
  MatrixXd events = event_directions(system, contrasts);
  if (contrasts.values.size() <= events.cols()) return std::nullopt;
  const Parts parts = parts_of(system, noise, contrasts);
  open.block = {contrasts.values,
                std::move(events),
                seen_through(contrasts.combine, parts.stated),
                {seen_through(contrasts.combine, parts.run_to_run)}};
  open.size = 1.0;
  return open;
}

/// What a sensor without a stated repeatability leaves open; no contrasts: nothing tells it.
OpenNoise open_sensor(const JointSystem& system, std::size_t sensor, const NoiseModel& noise) {
  OpenNoise open;
  open.sensors = {sensor};
  const Contrasts contrasts = contrasts_of(system, [&](std::size_t s) { return s == sensor; });
  const double squares = contrasts.values.squaredNorm();
  MatrixXd events = event_directions(system, contrasts);
  if (contrasts.values.size() <= events.cols() || squares <= 1e-20 * contrasts.size) return open;
  const Parts parts = parts_of(system, noise, contrasts);
  open.block = {contrasts.values,
                std::move(events),
                seen_through(contrasts.combine, parts.stated),
                {seen_through(contrasts.combine, parts.within)}};
  if (!is_stated(noise.sensors[sensor].run_to_run) && parts.shares)
    open.block.parts.push_back(seen_through(contrasts.combine, parts.run_to_run));
  open.size = squares / static_cast<double>(contrasts.values.size());
  return open;
}

void take_variances(const OpenNoise& open, const VectorXd& variances, NoiseModel& noise) {
  using enum NoisePart::Source;
  for (const std::size_t s : open.sensors) {
    SensorNoise& sensor = noise.sensors[s];
    if (open.in_units_of_repeatability) {
      sensor.run_to_run = {sensor.within.sd * std::sqrt(variances(0)), estimated};
      continue;
    }
    sensor.within = {std::sqrt(variances(0)), estimated};
    if (variances.size() > 1) sensor.run_to_run = {std::sqrt(variances(1)), estimated};
  }
}

void estimate(const OpenNoise& open, NoiseModel& noise) {
  const auto parts = static_cast<Index>(open.block.parts.size());
  VectorXd least = VectorXd::Zero(parts);
  if (!open.in_units_of_repeatability) least(0) = 1e-6 * open.size;
  const auto fit = restricted_likelihood({open.block}, VectorXd::Constant(parts, open.size), least);
  take_variances(open, fit.variances, noise);
  const double own = open.in_units_of_repeatability ? 1.0 : 0.0;
  noise.degrees_of_freedom =
      std::min(noise.degrees_of_freedom, freedom_of(own + fit.variances.sum(), fit.covariance.sum()));
}

/// Log of posterior density of the logarithms of the open standard deviations.
double log_variance_density(const OpenNoise& open, const VectorXd& log_sd) {
  const VectorXd variances = (2.0 * log_sd).array().exp();
  double density = log_likelihood(open.block, variances);
  const Index change = open.in_units_of_repeatability ? 0 : 1;  // the run-to-run change among them
  if (change >= log_sd.size()) return density;
  const double unit = open.in_units_of_repeatability ? 0.0 : log_sd(0);
  return density + log_sd(change) - unit - std::log1p(std::exp(2.0 * (log_sd(change) - unit)));
}

/// Draws by a random walk (N. Metropolis et al., *J. Chem. Phys.* 21 (1953)), far enough apart to count as
/// independent.
std::vector<VectorXd> variance_draws(const OpenNoise& open, const VectorXd& start, int count,
                                     boost::random::mt19937_64& generator) {
  constexpr int settling = 60, apart = 8;
  boost::random::normal_distribution<double> normal;
  boost::random::uniform_01<double> uniform;
  const double step = 2.0 / std::sqrt(0.5 * static_cast<double>(open.block.y.size()) + 1.0);
  VectorXd at = 0.5 * start.array().max(1e-4 * open.size).log();
  double density = log_variance_density(open, at);
  std::vector<VectorXd> draws;
  for (int i = 1 - settling; i <= count * apart; ++i) {
    VectorXd next = at;
    for (Index k = 0; k < next.size(); ++k) next(k) += step * normal(generator);
    const double there = log_variance_density(open, next);
    if (std::log(uniform(generator)) < there - density) at = next, density = there;
    if (i > 0 && i % apart == 0) draws.push_back((2.0 * at).array().exp());
  }
  return draws;
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

NoiseModel noise_of(const Job& job, const JointSystem& system) {
  NoiseModel noise = stated_noise(job, system);
  if (const auto open = open_run_to_run(system, noise)) estimate(*open, noise);
  for (std::size_t s = 0; s < noise.sensors.size(); ++s) {
    if (is_stated(noise.sensors[s].within)) continue;
    const bool read = std::any_of(system.readings.begin(), system.readings.end(),
                                  [s](const JointReading& one) { return one.sensor == s; });
    if (!read) continue;
    if (const auto open = open_sensor(system, s, noise); !open.block.parts.empty()) {
      estimate(open, noise);
      continue;
    }
    noise.known = false;
    noise.sensors[s].within.sd = 1.0;
  }
  return noise;
}

std::vector<NoiseDraw> noise_draws(const JointSystem& system, const NoiseModel& noise, int count,
                                   std::uint64_t seed) {
  boost::random::mt19937_64 generator(seed);
  std::vector<NoiseDraw> draws(static_cast<std::size_t>(count), NoiseDraw{noise, 0.0});
  bool any = noise.widened > 1.0;
  const auto draw = [&](const OpenNoise& open, const VectorXd& start) {
    const auto variances = variance_draws(open, start, count, generator);
    for (std::size_t i = 0; i < draws.size(); ++i) {
      take_variances(open, variances[i], draws[i].noise);
      draws[i].log_likelihood += log_likelihood(open.block, variances[i]);
    }
    any = true;
  };
  if (const auto open = open_run_to_run(system, noise)) {
    const auto& first = noise.sensors[open->sensors.front()];
    draw(*open, VectorXd::Constant(1, std::pow(first.run_to_run.sd / first.within.sd, 2)));
  }
  for (std::size_t s = 0; s < noise.sensors.size(); ++s) {
    const auto& sensor = noise.sensors[s];
    if (sensor.within.source != NoisePart::Source::estimated) continue;
    const auto open = open_sensor(system, s, noise);
    VectorXd start(static_cast<Index>(open.block.parts.size()));
    start(0) = sensor.within.sd * sensor.within.sd;
    if (start.size() > 1) start(1) = sensor.run_to_run.sd * sensor.run_to_run.sd;
    draw(open, start);
  }
  if (!any) return {{noise, 0.0}};
  for (auto& one : draws) {
    if (noise.widened > 1.0) {
      boost::random::chi_squared_distribution<double> chi(noise.degrees_of_freedom);
      one.noise.widened = noise.widened * std::sqrt(noise.degrees_of_freedom / chi(generator));
    }
    one.noise.degrees_of_freedom = std::numeric_limits<double>::infinity();
  }
  return draws;
}

}  // namespace trimwright

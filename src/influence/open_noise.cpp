#include "open_noise.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/linear_algebra.hpp"
#include "runs_fit.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// Sums of each sensor of an `OpenNoise`.
using SensorSums = std::vector<const std::vector<AlikeRuns>*>;

/// Satterthwaite's degrees of freedom of a variance.
double freedom_of(double variance, double its_variance) {
  return its_variance > 0.0 ? 2.0 * variance * variance / its_variance
                            : std::numeric_limits<double>::infinity();
}

/// What is stated of a reading's variance, in the mean: its proportional part too, which may be most of it.
/// In squared units of each sensor's repeatability where the open parts are.
double known_variance(const OpenNoise& open) {
  double sum = 0.0, readings = 0.0;
  for (const auto& sensor : open.sensors)
    for (const auto& group : sensor.groups) {
      const double unit = open.in_units_of_repeatability ? sensor.unit : 1.0;
      sum += group.runs * group.fixed.diagonal().sum() / (unit * unit);
      readings += group.runs * static_cast<double>(group.fixed.rows());
    }
  return readings > 0.0 ? sum / readings : 0.0;
}

/// Columns of data whose events change the readings otherwise than the unknowns and the events before do.
std::vector<Index> acting_events(const MatrixXd& squares, double size) {
  constexpr double none = 1e-14;  // of the square of a change
  std::vector<Index> acting;
  for (Index k = 1; k < squares.cols(); ++k) {
    double left = squares(k, k);
    if (!acting.empty()) {
      const MatrixXd shared = squares(acting, std::vector<Index>{k});
      left -= shared.cwiseProduct(positive_solve(MatrixXd(squares(acting, acting)), shared)).sum();
    }
    if (left > none * size) acting.push_back(k);
  }
  return acting;
}

OpenNoise open_of(std::vector<SensorRuns> sensors, bool in_units) {
  OpenNoise open{std::move(sensors), in_units, 0, {}, 0, 1.0};
  MatrixXd squares = 0.0 * open.sensors.front().squares;
  double size = 0.0;
  for (const auto& one : open.sensors) {
    open.contrasts += 2 * (one.readings - one.fitted);
    squares += one.squares;
    size += one.size;
  }
  open.events = acting_events(squares, size);
  if (open.contrasts <= static_cast<Index>(open.events.size())) return open;
  if (!in_units) {
    if (squares(0, 0) <= 1e-20 * size) return open;
    open.size = squares(0, 0) / static_cast<double>(open.contrasts);
  }
  open.parts = static_cast<Index>(open.sensors.front().groups.front().parts.size());
  return open;
}

std::vector<Projected> projected_sensors(const OpenNoise& open, const SensorSums& sums,
                                         const VectorXd& variances, Asked asked) {
  std::vector<Projected> all;
  for (std::size_t s = 0; s < sums.size(); ++s)
    all.push_back(projected(*sums[s], open.sensors[s].unknowns, variances, asked));
  return all;
}

void estimate_from(const OpenNoise& open, const SensorSums& sums, NoiseModel& noise) {
  VectorXd least = VectorXd::Zero(open.parts);
  if (!open.in_units_of_repeatability) least(0) = 1e-6 * open.size;
  const auto fit = restricted_likelihood(
      [&](const VectorXd& variances) {
        return score_of(projected_sensors(open, sums, variances, Asked::score), open.events);
      },
      VectorXd::Constant(open.parts, open.size), least);
  take_variances(open, fit.variances, noise);
  noise.degrees_of_freedom = std::min(
      noise.degrees_of_freedom, freedom_of(known_variance(open) + fit.variances.sum(), fit.covariance.sum()));
}

SensorSums all_sums(const OpenNoise& open) {
  SensorSums sums;
  for (const auto& sensor : open.sensors) sums.push_back(&sensor.groups);
  return sums;
}

/// `noise` with nothing but what is stated.
NoiseModel as_stated(NoiseModel noise) {
  for (auto& sensor : noise.sensors)
    for (NoisePart* part : {&sensor.within, &sensor.run_to_run})
      if (part->source != NoisePart::Source::stated) *part = {};
  noise.degrees_of_freedom = std::numeric_limits<double>::infinity();
  noise.widened = 1.0;
  return noise;
}

/// Entry of `run` among a sensor's runs; empty where it was not read then.
std::optional<std::size_t> entry_of(const SensorRuns& sensor, std::size_t run) {
  const auto found =
      std::lower_bound(sensor.runs.begin(), sensor.runs.end(), run,
                       [](const SensorRuns::Run& one, std::size_t at) { return one.run < at; });
  if (found == sensor.runs.end() || found->run != run) return std::nullopt;
  return static_cast<std::size_t>(found - sensor.runs.begin());
}

/// Squared distance of a run's readings from what the others say of them.
double squared_distance(const SensorRuns& sensor, std::size_t entry, const Projected& others,
                        const VectorXd& variances) {
  const SensorRuns::Run& run = sensor.runs[entry];
  const AlikeRuns& group = sensor.groups[run.alike];
  const Index n = static_cast<Index>(group.rows.size());
  MatrixXcd x = MatrixXcd::Zero(n, sensor.unknowns);
  for (std::size_t a = 0; a < group.row_of.size(); ++a)
    x(group.row_of[a], group.unknowns[a]) = run.design(static_cast<Index>(a));
  const VectorXcd off = run.data.head(n) - x * others.unknowns.col(0);
  const MatrixXcd covariance = x * others.inverse * x.adjoint() + group.covariance(variances).cast<Phasor>();
  VectorXd real(2 * n);
  real << off.real(), off.imag();
  return real.dot(VectorXd(positive_solve(halves_apart(covariance), real)));
}

/// All sensors without a run.
struct WithoutRun {
  std::size_t run = 0;
  std::vector<std::vector<AlikeRuns>> sums;  ///< one per entry of the sensors given
};

/// Noise without the run; false where the others do not tell it.
bool estimate_without(const std::vector<OpenNoise>& opens, const std::vector<SensorRuns>& sensors,
                      const WithoutRun& without, NoiseModel& noise) {
  for (const auto& open : opens) {
    SensorSums sums;
    Index contrasts = open.contrasts;
    for (const auto& own : open.sensors) {
      const auto same_sensor = std::find_if(sensors.begin(), sensors.end(),
                                            [&](const SensorRuns& one) { return one.sensor == own.sensor; });
      sums.push_back(&without.sums[static_cast<std::size_t>(same_sensor - sensors.begin())]);
      if (const auto entry = entry_of(own, without.run))
        contrasts -= 2 * static_cast<Index>(own.groups[own.runs[*entry].alike].rows.size());
    }
    if (open.parts == 0 || contrasts <= 0) return false;
    estimate_from(open, sums, noise);
  }
  return true;
}

std::optional<OthersPrediction> predicted_without(const std::vector<OpenNoise>& opens,
                                                  const std::vector<SensorRuns>& sensors, std::size_t run,
                                                  NoiseModel noise) {
  WithoutRun without{run, {}};
  for (const auto& sensor : sensors) {
    const auto entry = entry_of(sensor, run);
    if (entry && !sensor.runs[*entry].settled_without) return std::nullopt;
    without.sums.push_back(entry ? sensor.groups_without(*entry) : sensor.groups);
  }
  if (!estimate_without(opens, sensors, without, noise)) return std::nullopt;
  OthersPrediction told;
  double misfit = 0.0;
  int freedom = 0;
  for (std::size_t s = 0; s < sensors.size(); ++s) {
    const SensorRuns& sensor = sensors[s];
    const VectorXd variances = variances_of(sensor, noise);
    const Projected others = projected(without.sums[s], sensor.unknowns, variances, Asked::prediction);
    const auto entry = entry_of(sensor, run);
    const Index read = entry ? static_cast<Index>(sensor.groups[sensor.runs[*entry].alike].rows.size()) : 0;
    if (!sensor.within_open) {
      const Index spare = sensor.readings - read - sensor.fitted;
      if (spare > 0) misfit += std::max(0.0, std::real(others.data(0, 0)));
      freedom += static_cast<int>(2 * spare);
    }
    if (!entry) continue;
    told.components += static_cast<int>(2 * read);
    told.distance += squared_distance(sensor, *entry, others, variances);
  }
  widen_where_rejected(noise, misfit, freedom);
  told.distance /= noise.widened * noise.widened;
  told.degrees_of_freedom = noise.degrees_of_freedom;
  return told;
}

}  // namespace

std::vector<OpenNoise> open_noise(const JointSystem& system, const NoiseModel& noise) {
  std::vector<OpenNoise> opens;
  std::vector<SensorRuns> pooled;
  for (auto& sensor : sensor_runs(system, noise)) {
    if (sensor.within_open)
      opens.push_back(open_of({std::move(sensor)}, false));
    else if (sensor.run_to_run_open)
      pooled.push_back(std::move(sensor));
  }
  if (pooled.empty()) return opens;
  OpenNoise shared = open_of(std::move(pooled), true);
  if (shared.parts > 0) opens.insert(opens.begin(), std::move(shared));
  return opens;
}

VectorXd variances_of(const SensorRuns& sensor, const NoiseModel& noise) {
  const SensorNoise& parts = noise.sensors[sensor.sensor];
  std::vector<double> variances;
  if (sensor.within_open) variances.push_back(parts.within.sd * parts.within.sd);
  if (sensor.run_to_run_open) variances.push_back(std::pow(parts.run_to_run.sd / sensor.unit, 2));
  return VectorXd::Map(variances.data(), static_cast<Index>(variances.size()));
}

void take_variances(const OpenNoise& open, const VectorXd& variances, NoiseModel& noise) {
  using enum NoisePart::Source;
  for (const auto& one : open.sensors) {
    SensorNoise& sensor = noise.sensors[one.sensor];
    if (open.in_units_of_repeatability) {
      sensor.run_to_run = {sensor.within.sd * std::sqrt(variances(0)), estimated};
      continue;
    }
    sensor.within = {std::sqrt(variances(0)), estimated};
    if (variances.size() > 1) sensor.run_to_run = {std::sqrt(variances(1)), estimated};
  }
}

double log_likelihood(const OpenNoise& open, const VectorXd& variances) {
  return log_likelihood(projected_sensors(open, all_sums(open), variances, Asked::likelihood), open.events);
}

void estimate(const OpenNoise& open, NoiseModel& noise) {
  if (open.parts > 0) return estimate_from(open, all_sums(open), noise);
  noise.known = false;
  noise.sensors[open.sensors.front().sensor].within.sd = 1.0;
}

std::vector<std::optional<OthersPrediction>> predictions_by_others(const JointSystem& system,
                                                                   const NoiseModel& noise) {
  std::vector<std::optional<OthersPrediction>> all(system.runs.size());
  if (!system.open_events().empty()) return all;
  const NoiseModel stated = as_stated(noise);
  const auto sensors = sensor_runs(system, stated);
  const auto opens = open_noise(system, stated);
  for (std::size_t run = 0; run < all.size(); ++run)
    all[run] = predicted_without(opens, sensors, run, stated);
  return all;
}

}  // namespace trimwright

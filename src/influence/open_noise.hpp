#pragma once

#include "alike_runs.hpp"

namespace trimwright {

/// Variances that the readings of some sensors tell together: of one sensor its repeatability and, where runs
/// show it, its run-to-run change; or of all that state only the former the latter, in units of it.
struct OpenNoise {
  std::vector<SensorRuns> sensors;
  bool in_units_of_repeatability = false;
  Eigen::Index parts = 0;            ///< 0: nothing tells the repeatability
  std::vector<Eigen::Index> events;  ///< columns of data whose events act, and not as others do
  Eigen::Index contrasts = 0;        ///< real combinations of readings in which the unknowns cancel
  double size = 0.0;                 ///< mean square of these, or one unit
};
[[nodiscard]] std::vector<OpenNoise> open_noise(const JointSystem& system, const NoiseModel& noise);

/// The variances of a sensor's parts in `noise`.
[[nodiscard]] Eigen::VectorXd variances_of(const SensorRuns& sensor, const NoiseModel& noise);
/// Puts them there.
void take_variances(const OpenNoise& open, const Eigen::VectorXd& variances, NoiseModel& noise);
/// Restricted log likelihood, but for a constant.
[[nodiscard]] double log_likelihood(const OpenNoise& open, const Eigen::VectorXd& variances);

/// Takes the most likely variances; where nothing tells them `noise.known` becomes false.
void estimate(const OpenNoise& open, NoiseModel& noise);

/// A run as all the others predict it, what is not stated of the noise estimated without it.
struct OthersPrediction {
  int components = 0;     ///< real
  double distance = 0.0;  ///< squared Mahalanobis distance of its readings
  double degrees_of_freedom = 0.0;
};
/// Of every run of a system. Nothing is fitted anew: what a run adds is taken out of the sums. Empty where a
/// row or the noise is not settled without the run, or an event is open: that must be.
[[nodiscard]] std::vector<std::optional<OthersPrediction>> predictions_by_others(const JointSystem& system,
                                                                                 const NoiseModel& noise);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <optional>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// A usable reading as one complex equation in (X0, C) of its row.
struct JointReading {
  std::size_t row = 0;  ///< entry of JointSystem::rows
  std::size_t run = 0;  ///< entry of JointSystem::runs
  std::size_t sensor = 0;
  Phasor x;
  std::optional<double> sd;  ///< stated, of what is within the run
  double level = 0.0;        ///< amplitude that the proportional part of its noise is a share of
};

/// All usable readings of a job in the rows and planes solved for.
struct JointSystem {
  std::vector<std::pair<std::size_t, std::size_t>> rows;  ///< speed, sensor
  std::vector<std::size_t> planes;
  std::vector<std::size_t> runs;  ///< indices into Job::runs
  Eigen::MatrixXcd unbalance;     ///< runs x planes [g mm]
  std::vector<JointReading> readings;

  /// (1, U) of a run.
  [[nodiscard]] Eigen::RowVectorXcd design(std::size_t run) const;
};

/// Every usable reading of the runs not set aside; rows by speed, then sensor.
[[nodiscard]] JointSystem joint_system(const Job& job, const std::vector<std::size_t>& planes);

/// Leaves only the rows that the runs, with the known coefficients, settle. `known[i][p]`: coefficient of
/// plane p in row i has a prior.
[[nodiscard]] JointSystem settled_rows(const JointSystem& system,
                                       const std::vector<std::vector<bool>>& known);

/// The noise parts as stated, and estimated from `system`'s redundancy where they are not. Where nothing
/// tells the repeatability of some sensor `NoiseModel::known` is false, and its readings count as of standard
/// deviation 1: plain least squares.
[[nodiscard]] NoiseModel noise_of(const Job& job, const JointSystem& system);

/// Noise as it may be, and the log density of what told it: combinations of readings in which the unknowns
/// cancel.
struct NoiseDraw {
  NoiseModel noise;
  double log_likelihood = 0.0;
};

/// `noise` with what was estimated drawn from its posterior, `count` times: restricted likelihood, times 1 /
/// sd for a repeatability and a half-Cauchy density of scale one repeatability for a run-to-run change (A.
/// Gelman, *Bayesian Analysis* 1 (2006)). One draw, as it is, where all is stated.
[[nodiscard]] std::vector<NoiseDraw> noise_draws(const JointSystem& system, const NoiseModel& noise,
                                                 int count, std::uint64_t seed);

/// Covariance per real component of some readings: repeatability (a reading's own, where stated), the
/// proportional part of the level, and what readings of one sensor in one run share.
[[nodiscard]] Eigen::MatrixXd readings_covariance(const JointSystem& system, const NoiseModel& noise,
                                                  const std::vector<std::size_t>& readings);

}  // namespace trimwright

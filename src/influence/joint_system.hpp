#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "trimwright/influence/influence_posterior.hpp"

namespace trimwright {

/// A usable reading as one complex equation in (X0, C) of its row.
struct JointReading {
  std::size_t row = 0;  ///< entry of JointSystem::rows
  std::size_t run = 0;  ///< entry of JointSystem::runs
  std::size_t sensor = 0;
  Phasor x;
  std::optional<double> sd;  ///< stated, of what is within the run
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

/// The noise parts as stated, and estimated from `system`'s redundancy where they are not. Empty: nothing
/// tells the repeatability of some sensor.
[[nodiscard]] std::optional<NoiseModel> noise_of(const Job& job, const JointSystem& system);

/// Widens the noise where chi-squared rejects `misfit` (below 1 %), the residuals in its own units.
void widen_where_rejected(NoiseModel& noise, double misfit, int dof);

/// Mean and covariance of prior coefficients at complex positions of the unknowns.
struct JointPrior {
  std::vector<std::size_t> unknown;
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
};

/// Once-per-rev vibration that no weight explains: X0 = -C V + d for some unbalance V, d small. The product
/// of the unknown C and V is taken at first order about their present estimates.
struct UnexplainedVibration {
  Eigen::VectorXcd unbalance;     ///< V so far, per plane; brought up to date by a solve
  Eigen::MatrixXcd coefficients;  ///< C without this knowledge, rows x planes
  Eigen::VectorXd sd;             ///< of d per row and real component
  Eigen::VectorXd square;         ///< expected |d_i|^2 after a solve
  Eigen::VectorXd variance;       ///< expected |dV_p|^2 after a solve
};

/// The regression, with the noise given and, if told, the vibration that no weight explains.
[[nodiscard]] InfluencePosterior solved_system(const JointSystem& system, const NoiseModel& noise,
                                               const JointPrior& prior,
                                               UnexplainedVibration* unexplained = nullptr);

/// As `solved_system`, with the size of the unexplained vibration (`scale` per row times one unknown factor)
/// estimated from the rows themselves by expectation and maximisation (A. P. Dempster, N. M. Laird and D. B.
/// Rubin, *J. Roy. Statist. Soc.* B 39 (1977)). Without it the flat prior on X0 would hold that an unbalance
/// which cancels all rows is as unlikely as any other coincidence, and foretell too much. Its degrees of
/// freedom, 2 (rows - planes), make the posterior a t distribution. Needs more rows than planes; else it is
/// `solved_system`.
[[nodiscard]] InfluencePosterior solved_with_unexplained(const JointSystem& system, const NoiseModel& noise,
                                                         const JointPrior& prior,
                                                         const Eigen::VectorXd& scale);

}  // namespace trimwright

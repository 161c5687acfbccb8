#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "joint_system.hpp"
#include "trimwright/influence.hpp"

namespace trimwright {

/// Generalised least squares of all readings of one sensor, noise of every stated or estimated part included
/// (A. C. Aitken, *Proc. Roy. Soc. Edinburgh* 55 (1935)). Sensors share no noise, so each stands alone.
struct SensorFit {
  std::vector<std::size_t> readings;  ///< indices into JointSystem::readings
  std::vector<std::size_t> rows;      ///< entries of JointSystem::rows
  std::vector<Eigen::Index> shares;   ///< the first of `rows` with the coefficients of each
  Eigen::VectorXcd estimate;          ///< (X0, C_1 .. C_P) of each of `rows` in turn
  /// What a unit of each reading adds to (X0, C_1 .. C_P) of its own row; where readings are missing or of
  /// unlike certainty, and a change from run to run is shared, it adds a little to the sensor's other rows.
  Eigen::MatrixXcd gain;
  Eigen::MatrixXcd covariance;  ///< of `estimate`, per real component (Hermitian)
  Eigen::VectorXcd residual;    ///< read - fitted
  Eigen::VectorXd variance;     ///< of each reading, per real component: of V
  /// How far each reading alone would have to be moved to agree with the others is |pull|/pull_variance; in
  /// standard deviations per real component |pull|/sqrt(pull_variance): the most powerful test of one wrong
  /// reading where readings are correlated (W. Baarda, *A testing procedure for use in geodetic networks*,
  /// 1968). pull = V^-1 residual.
  Eigen::VectorXcd pull;
  Eigen::VectorXd pull_variance;
  Eigen::VectorXd leverage;     ///< 0..1: the share of a reading's information that its own fit uses up
  double misfit = 0.0;          ///< residual^H V^-1 residual
  int spare = 0;                ///< complex readings beyond the unknowns
  double log_likelihood = 0.0;  ///< restricted, but for a constant that readings and conventions share
};

/// All sensors of a system whose rows are settled.
struct RunsFit {
  JointSystem system;  ///< `level` of the readings: what was fitted
  NoiseModel noise;
  std::vector<SensorFit> sensors;  ///< of those with readings
  /// The same with run-to-run changes that are not stated left out: what is judged, because a change that is
  /// estimated from the misfit would explain any.
  std::vector<SensorFit> as_stated;

  /// Whether a sensor's repeatability is stated, so that chi-squared can judge its residuals.
  [[nodiscard]] bool is_judged(const SensorFit& sensor) const;
  /// Of `as_stated`, over the sensors that are judged.
  [[nodiscard]] double judged_misfit() const;
  [[nodiscard]] int judged_freedom() const;  ///< real degrees of freedom
};

/// Least squares of some readings of one sensor, by run: `x = designs(run, :) b_row`. Columns that a row does
/// not use have no unknown. Rows that no change from run to run ties together stand each alone.
[[nodiscard]] SensorFit fit_readings(const JointSystem& system, const NoiseModel& noise,
                                     std::vector<std::size_t> readings, const Eigen::MatrixXcd& designs);

/// (1, U) of every run of a system.
[[nodiscard]] Eigen::MatrixXcd run_designs(const JointSystem& system);

/// Widens the noise where chi-squared rejects the misfit (below 1 %), the residuals in its own units.
void widen_where_rejected(NoiseModel& noise, double misfit, int freedom);

/// Fits every sensor of `fit.system` with `fit.noise`.
void fit_sensors(RunsFit& fit);

/// Noise that is not stated estimated from the runs; where part of it is proportional, its level is that of
/// the fit, by iteration. Widened where chi-squared rejects it (below 1 %).
[[nodiscard]] RunsFit fit_runs(const Job& job, const JointSystem& settled);

/// The fit of a job in the convention that its rotor says, and all that `fit_influence` tells of it but the
/// comparison with its mirror. Errors: those of `fit_influence`.
[[nodiscard]] Result<RunsFit> fit_as_given(const Job& job, const std::vector<std::size_t>& planes,
                                           InfluenceModel* model = nullptr);

/// The same as one distribution of all unknowns.
[[nodiscard]] InfluencePosterior posterior_of(const RunsFit& fit);

}  // namespace trimwright

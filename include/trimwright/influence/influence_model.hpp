#pragma once

#include <Eigen/Core>
#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/influence/influence_posterior.hpp"
#include "trimwright/runs/job.hpp"

namespace trimwright {

/// A reading and what the model makes of it.
struct FittedReading {
  std::size_t run = 0;  ///< index into Job::runs
  Phasor read;
  Phasor fitted;
  double within_sd =
      0.0;          ///< of the reading in its run, per real component: its own, stated, or its sensor's
  double sd = 0.0;  ///< the same with run-to-run change and proportional part
};

/// One speed and sensor: x(U) = baseline + sum_p coefficients[p] U_p, U_p the total moment of plane p.
struct InfluenceRow {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  Phasor baseline;                 ///< X0: what would be measured with the slots empty, peak
  Eigen::VectorXcd coefficients;   ///< C, one per entry of InfluenceModel::planes [sensor unit peak / g mm]
  std::vector<FittedReading> fit;  ///< every reading used
  int readings = 0;                ///< complex readings used
  int spare = 0;                   ///< readings beyond the unknowns (complex degrees of freedom)
  /// (X0, C) as least squares has them are `gain` times the readings of `fit` (and, where readings are
  /// missing or of unlike certainty, little of the sensor's others). Empty where the rows are a posterior's
  /// mean.
  Eigen::MatrixXcd gain;
  /// Standard deviation of one reading within its run per real component, without the proportional part:
  /// stated, or estimated. Empty where nothing tells it.
  std::optional<double> reading_sd;
};

/// A reading that took no part, and why.
struct LeftOut {
  std::size_t run = 0;
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::string why;
};

/// A speed and sensor whose coefficients the readings at hand do not settle, and why.
struct UnsettledRow {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::string why;
};

/// Which of the two phase conventions the runs support.
struct MirrorTest {
  enum class Outcome {
    cannot_tell,     ///< trial vectors collinear, or no more runs than planes + 1
    supports_given,  ///< the runs speak for the convention the model was fitted in
    contradicts,     ///< the runs, or those of one sensor alone, speak for its mirror
    neither_fits     ///< even the better of the two leaves more than the stated noise explains
  };
  Outcome outcome = Outcome::cannot_tell;
  double log_odds = 0.0;                      ///< natural log of the likelihood ratio, given over mirror
  std::vector<std::size_t> mirrored_sensors;  ///< sensors whose own readings speak for the mirror
};

/// How the rotor answers a unit of unbalance.
struct InfluenceModel {
  PhaseConvention convention = PhaseConvention::lag;  ///< the one the readings were taken in
  bool convention_found = false;    ///< the rotor file said `unknown` and the runs settled it
  std::vector<std::size_t> planes;  ///< planes whose coefficients are known, indices into the rotor's
  Eigen::VectorXcd centre;          ///< mean U over the runs used [g mm]
  std::vector<InfluenceRow> rows;   ///< by speed, then sensor
  std::vector<UnsettledRow> unsettled;
  std::vector<LeftOut> left_out;
  std::vector<std::size_t> runs_used;
  int rank = 0;            ///< of the matrix of runs: 1 + number of planes when they separate
  double condition = 0.0;  ///< of that matrix, columns centred and scaled to unit norm
  double planes_condition =
      0.0;  ///< of the coefficients, rows over limits, columns scaled: planes that act alike
  MirrorTest mirror;
  double chi_squared = 0.0;  ///< residuals squared over all stated (or estimated) parts of the noise, of the
                             ///< sensors with a stated repeatability
  int chi_squared_dof = 0;   ///< real degrees of freedom; 0: nothing to judge by
  /// Baselines and coefficients with their joint covariance; empty where no reading noise is known. With a
  /// prior, `rows` hold its mean.
  std::optional<InfluencePosterior> posterior;
  /// The same, knowing that weights cancel most of the vibration (`Residual::small`): what probabilities are
  /// reckoned from. Its mean lies within the uncertainty of `posterior`.
  std::optional<InfluencePosterior> belief;
  bool with_prior = false;
  bool small_residual = false;  ///< the job says so (`Job::small_residual`) and `rows` hold the belief's mean
  int prior_jobs = 0;           ///< jobs that the prior was learned from
  std::optional<FleetCheck> fleet;  ///< the runs' own coefficients against the prior's, where they settle any

  [[nodiscard]] bool rows_are_posterior_mean() const { return with_prior || small_residual; }
};

/// Generalised least squares over all usable runs, baseline included as unknown: the noise is that of every
/// part, stated or estimated (repeatability or a reading's own, run-to-run change, proportional part).
///
/// Sources: Thearle (1934) for one plane and one run each; Goodman (1964) for least squares; Yu (2004) for
/// weights left on and redundant runs; A. C. Aitken, *Proc. Roy. Soc. Edinburgh* 55 (1935), for correlated
/// noise. Readings of one sensor in one run are correlated; nothing else ties speeds and sensors.
///
/// `planes`: the planes to solve for; empty: every plane whose weights any run changed. A plane that no run
/// changed is constant and part of X0; naming it is an error.
/// Errors: the runs cannot separate the planes (the message says which run is missing); no usable reading.
/// The job's rotor must say lag or lead.
[[nodiscard]] Result<InfluenceModel> fit_influence(const Job& job,
                                                   const std::vector<std::size_t>& planes = {});

/// As `fit_influence`, but a rotor that says `unknown` is tried in both conventions, and the one that the
/// runs support is taken. Error: they cannot tell.
struct SettledModel {
  Job job;  ///< with its rotor's convention settled
  InfluenceModel model;
};
/// With a prior: every plane the prior knows (or those asked for), runs and prior combined; a baseline alone
/// is then enough. The prior tells lag from lead as soon as a run changed a weight.
/// With `Job::small_residual`, and no prior: baselines and coefficients are those that suppose that weights
/// can cancel most of the vibration. Error: nothing tells how well readings repeat, or no more rows than
/// planes.
[[nodiscard]] Result<SettledModel> settle_and_fit(const Job& job, const std::vector<std::size_t>& planes = {},
                                                  const Prior* prior = nullptr);

/// x(U) for U given per entry of `model.planes` [g mm].
[[nodiscard]] Phasor predict(const InfluenceRow& row, const Eigen::VectorXcd& unbalance);

/// How many times more the readings scatter than stated, where chi-squared rejects the stated noise (below 1
/// % probability); else 1.
[[nodiscard]] double excess_scatter(const InfluenceModel& model);

/// V with at^T V conj(at) the variance per real component of the predicted x(U), at = (1, U - centre); the
/// noise of the next reading not included. Empty where no reading noise is known.
[[nodiscard]] std::optional<Eigen::MatrixXcd> prediction_covariance(const InfluenceModel& model,
                                                                    const InfluenceRow& row);

/// Standard deviation per real component of the predicted x(U), the noise of the next reading not included;
/// root mean square of the two components. Empty where no reading noise is known.
[[nodiscard]] std::optional<double> prediction_sd(const InfluenceModel& model, const InfluenceRow& row,
                                                  const Eigen::VectorXcd& unbalance);

/// Standard error per real component of coefficient `p` of `row`; empty where no reading noise is known.
[[nodiscard]] std::optional<double> coefficient_sd(const InfluenceModel& model, const InfluenceRow& row,
                                                   std::size_t p);

/// Probability that a chi-squared variable of the model's degrees of freedom exceeds its value; 1 without
/// any. Small: the readings scatter more than their stated repeatability, or something changed between runs.
[[nodiscard]] double fit_probability(const InfluenceModel& model);

}  // namespace trimwright

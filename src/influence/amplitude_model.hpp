#pragma once

#include <Eigen/Core>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// One answer to "which baseline and coefficients give these amplitudes?". All phases are relative to the
/// vibration in the first run used, whose own is taken as zero: amplitudes alone say no more.
struct AmplitudeSolution {
  double first = 0.0;             ///< amplitude in the first run used, peak
  Eigen::VectorXcd coefficients;  ///< one per entry of AmplitudeModel::planes [sensor unit peak / g mm]
  double chi_squared = 0.0;       ///< sum over readings of ((fitted - read amplitude) / sd)^2
  Eigen::MatrixXd covariance;     ///< of (first, Re C_0, Im C_0, Re C_1, ...)
};

/// One speed and sensor. More than one solution: the runs leave open which.
struct AmplitudeRow {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  int readings = 0;
  std::optional<double> reading_sd;  ///< within a run, stated; else 1 % of the largest amplitude counts
  std::vector<AmplitudeSolution> solutions;  ///< distinct, the likeliest first
};

/// What the amplitudes of a job say when no phase was read or none can be trusted.
struct AmplitudeModel {
  std::vector<std::size_t> planes;
  Eigen::VectorXcd first_unbalance;  ///< U of the planes in the first run used [g mm]
  Eigen::VectorXcd centre;           ///< mean U over the runs used [g mm]
  std::vector<AmplitudeRow> rows;    ///< by speed, then sensor
  std::vector<UnsettledRow> unsettled;
  std::vector<std::size_t> runs_used;
  int rank = 0;
  double condition = 0.0;
};

/// Non-linear least squares of |x_1 + sum_p C_p (U_p - U_p1)| against the once-per-rev amplitudes of all
/// runs, phases unread or ignored, from many starts, so that all solutions are found. One plane: the
/// intersection of circles of Siebert's construction; several: L. J. Everett, *Two-plane balancing of a rotor
/// system without phase response measurements*, J. Vib. Acoust. 109 (1987). A baseline and three trial runs
/// a plane, their weights not in line, have one solution; fewer, or in line, may have more. Solutions within
/// odds of 1000 to 1 of the best are kept.
/// Errors: those of the runs as for `fit_influence`; no speed and sensor with 1 + 2 planes readings; more
/// planes than three.
[[nodiscard]] Result<AmplitudeModel> fit_amplitudes(const Job& job,
                                                    const std::vector<std::size_t>& planes = {});

/// The model as one that can be planned on; its phases have no meaning to a person. A speed and sensor with
/// more than one solution is unsettled. Error: none has only one; the message says which runs would settle
/// it.
[[nodiscard]] Result<InfluenceModel> influence_from_amplitudes(const Job& job, const AmplitudeModel& model);

/// Both together. The job given back has a rotor whose phase convention is `unknown`: none is shown.
[[nodiscard]] Result<SettledModel> settle_by_amplitudes(const Job& job,
                                                        const std::vector<std::size_t>& planes = {});

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <vector>

#include "joint_system.hpp"
#include "variance_components.hpp"

namespace trimwright {

/// Runs in which the same rows of a sensor were read with the same noise: all that the likelihood of
/// variances asks of their readings are these sums, however many runs there are. A run's readings y are those
/// of its rows, column of data after column; its designs d those of its rows in turn.
struct AlikeRuns {
  std::vector<std::size_t> rows;       ///< entries of SensorRuns::rows
  std::vector<Eigen::Index> row_of;    ///< entry of `rows` that each element of d belongs to
  std::vector<Eigen::Index> unknowns;  ///< where that stands among the sensor's unknowns
  Eigen::MatrixXd fixed;               ///< covariance of the readings per real component, without
  std::vector<Eigen::MatrixXd> parts;  ///< each open variance times its entry here
  double runs = 0.0;
  Eigen::MatrixXcd design;   ///< sum of d^* d^T
  Eigen::MatrixXcd crossed;  ///< sum of d^* y^T
  Eigen::MatrixXd squares;   ///< sum of Re y^* y^T

  /// Of the readings of one run per real component, each open variance as given.
  [[nodiscard]] Eigen::MatrixXd covariance(const Eigen::VectorXd& variances) const;
};

/// The readings of a sensor as its variances see them: designs in an orthonormal basis of each row's, less
/// the least squares fit of each row. Columns of data: the readings, then what each open event changes of
/// them.
///
/// Where all runs are alike and read every row, X is one design for all rows: the fit then takes as many
/// runs' worth from the sums as it has unknowns a row, and no unknown is left in them. Of a run of leverage h
/// the data are then y / sqrt(1 - h): what is to be taken out of the sums without it.
struct SensorRuns {
  struct Run {
    std::size_t run = 0;    ///< entry of JointSystem::runs
    std::size_t alike = 0;  ///< entry of `groups`
    Eigen::VectorXcd design, data;
    bool settled_without = true;  ///< every row stays settled without it
  };
  std::size_t sensor = 0;
  std::vector<std::size_t> rows;  ///< entries of JointSystem::rows
  Eigen::Index fitted = 0;        ///< unknowns of the rows
  Eigen::Index unknowns = 0;      ///< those that are left in the sums
  Eigen::Index readings = 0;
  bool within_open = false, run_to_run_open = false;  ///< the parts, in this order
  double unit = 1.0;        ///< standard deviation that an open run-to-run change is told in
  double size = 0.0;        ///< sum of |x|^2
  Eigen::MatrixXd squares;  ///< of the columns of data, as least squares leaves them
  std::vector<AlikeRuns> groups;
  std::vector<Run> runs;

  /// `groups` without entry `i` of `runs`.
  [[nodiscard]] std::vector<AlikeRuns> groups_without(std::size_t i) const;
};

/// Every sensor that was read. Open: variances that `noise` does not hold stated; a run-to-run change only
/// where the repeatability is stated or some run has two readings.
[[nodiscard]] std::vector<SensorRuns> sensor_runs(const JointSystem& system, const NoiseModel& noise);

/// With V the noise at given variances, K_q its parts, Y the columns of data, and
///     P = V^-1 - V^-1 X (X^H V^-1 X)^-1 X^H V^-1:
/// what restricted likelihood needs of one sensor (D. A. Harville, *J. Amer. Statist. Assoc.* 72 (1977)).
struct Projected {
  double log_determinant = 0.0;            ///< of V and of X^H V^-1 X
  Eigen::MatrixXcd inverse;                ///< (X^H V^-1 X)^-1
  Eigen::MatrixXcd unknowns;               ///< of every column by generalised least squares
  Eigen::MatrixXd data;                    ///< Re Y^H P Y
  std::vector<Eigen::MatrixXd> one, both;  ///< Re Y^H P K_q P Y; Re Y^H P K_q P K_r P Y, r <= q in turn
  Eigen::VectorXd trace;                   ///< of P K_q
  Eigen::MatrixXd trace_both;              ///< of P K_q P K_r
};
/// What of it is asked for: determinant and data; `inverse` and `unknowns` too; everything.
enum class Asked { likelihood, prediction, score };
[[nodiscard]] Projected projected(const std::vector<AlikeRuns>& groups, Eigen::Index unknowns,
                                  const Eigen::VectorXd& variances, Asked asked);

/// Score of variances that some sensors share; `events`: columns of data fitted beside them.
[[nodiscard]] ComponentScore score_of(const std::vector<Projected>& sensors,
                                      const std::vector<Eigen::Index>& events);
/// Restricted log likelihood, but for a constant.
[[nodiscard]] double log_likelihood(const std::vector<Projected>& sensors,
                                    const std::vector<Eigen::Index>& events);

}  // namespace trimwright

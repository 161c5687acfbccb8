#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/influence/influence_model.hpp"

namespace trimwright {

/// What differs between two runs of a rotor nobody touched, beside the readings' stated repeatability. Each
/// is one standard deviation per real component. The figures are our own: common practice knows that runs
/// differ by about so much, no published source. A sensor's own `run_to_run`, where the rotor file states it,
/// takes the place of `seating` and `of_run` for its readings, and its `proportional` that of `of_reading`.
struct RunToRun {
  double seating = 0.005;  ///< of every plane's moment, as a share of its heaviest weight: blades seat anew
  double of_run = 0.005;   ///< of all amplitudes of a run together: thermal state
  double of_reading = 0.003;  ///< of each reading on its own
};

/// One speed and sensor that the check run read and the model predicts.
struct CheckRow {
  std::size_t row = 0;        ///< entry of InfluenceModel::rows
  Phasor read;                ///< mean of the run's readings
  Phasor phase_factor = 1.0;  ///< as Reading::phase_factor
  double reading_sd = 0.0;    ///< of `read` per real component
  double speed_effect = 0.0;  ///< what being read off its speed point may have changed it by
};

/// The check run's readings beside the model fitted from the runs before it.
struct CheckRows {
  std::size_t run = 0;  ///< the check run, index into Job::runs
  std::vector<CheckRow> rows;
  Eigen::VectorXcd unbalance;  ///< U of the check run, per entry of InfluenceModel::planes [g mm]
  std::string why_not;         ///< why nothing can be predicted; empty when something can

  [[nodiscard]] Eigen::VectorXcd read() const;
};

/// `model` fitted from runs before `run`. Rows without a phase, without a known reading noise, or told in
/// `left_out` (of a fit that includes the check run) are not compared.
[[nodiscard]] CheckRows check_rows(const Job& job, const InfluenceModel& model, std::size_t run,
                                   const std::vector<LeftOut>& left_out);

/// x(U) of every row.
[[nodiscard]] Eigen::VectorXcd expected_readings(const InfluenceModel& model, const CheckRows& rows,
                                                 const Eigen::VectorXcd& unbalance);

/// Covariance per real component (Hermitian, rows x rows) of reading minus x(U), in two parts.
struct DifferenceCovariance {
  Eigen::MatrixXcd scatter;   ///< of readings and runs: as stated or assumed
  Eigen::MatrixXcd believed;  ///< of x(U) by the model's posterior; 0 where the rows are least squares

  [[nodiscard]] Eigen::MatrixXcd sum() const { return scatter + believed; }
};

///
/// With w the weights that the regression gives the earlier readings, d = e_check - sum_k w_k e_k, where an
/// e is noise of its own (stated repeatability, `of_reading` times the amplitude,
/// what being read off its speed point may change) plus what its run shares:
/// C u with u the seating of each plane, and g x with g the gain of the run; or, for a sensor with a stated
/// `run_to_run`, one complex quantity common to its readings. So readings of one run are
/// correlated, and a prediction far from the earlier runs is less certain. Where the model's rows are the
/// mean of its posterior (a prior, or a small residual), what is stated of the earlier runs is in `believed`.
[[nodiscard]] DifferenceCovariance difference_covariance(const Job& job, const InfluenceModel& model,
                                                         const CheckRows& rows,
                                                         const Eigen::VectorXcd& unbalance,
                                                         const RunToRun& scatter);

}  // namespace trimwright

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
  std::optional<double> sd;      ///< stated, of what is within the run
  double level = 0.0;            ///< amplitude that the proportional part of its noise is a share of
  Phasor read{};                 ///< in its run; `x` is the same as it would be since the last event
  Eigen::VectorXcd exponents{};  ///< d log x / d value of every entry of JointSystem::events
  double scale = 1.0;            ///< |x| over |read|
  Phasor fitted{};               ///< of x, by the last fit
};

/// All usable readings of a job in the rows and planes solved for.
struct JointSystem {
  std::vector<std::pair<std::size_t, std::size_t>> rows;  ///< speed, sensor
  /// The first row with the coefficients of each row: places that differ in approach or state alone share
  /// them.
  std::vector<std::size_t> shares;
  std::vector<std::size_t> planes;
  std::vector<std::size_t> runs;  ///< indices into Job::runs
  Eigen::MatrixXcd unbalance;     ///< runs x planes [g mm]
  Eigen::MatrixXd shifts;         ///< runs x new baselines: 1 for a run before it
  std::vector<JointReading> readings;
  std::vector<EventPart> events;  ///< that act on some reading, or on what a prior knows

  /// Unknowns of a row: X0 since the last event, C, and of each new baseline X0 before less X0 since.
  [[nodiscard]] Eigen::Index entries() const { return 1 + unbalance.cols() + shifts.cols(); }
  /// Position of entry `q` of row `i` among the unknowns; of coefficients that it shares, that of the first.
  [[nodiscard]] Eigen::Index unknown(std::size_t i, Eigen::Index q) const {
    const bool shared = q > 0 && q <= unbalance.cols();
    return static_cast<Eigen::Index>(shared ? shares[i] : i) * entries() + q;
  }
  /// (1, U, shifts) of a run.
  [[nodiscard]] Eigen::RowVectorXcd design(std::size_t run) const;
  /// Entries of `events` that are not stated and act on some reading, or (`prior`) on what a prior knows.
  [[nodiscard]] std::vector<std::size_t> open_events(bool prior = false) const;
  /// Brings every reading to where the events' values put it.
  void take_events();
};

/// Every usable reading of the runs not set aside; rows by speed, then sensor.
[[nodiscard]] JointSystem joint_system(const Job& job, const std::vector<std::size_t>& planes);

/// Leaves only the rows that the runs, with the known coefficients, settle. `known[i][p]`: coefficient of
/// plane p in row i has a prior.
[[nodiscard]] JointSystem settled_rows(const JointSystem& system,
                                       const std::vector<std::vector<bool>>& known);

/// Error where a job is larger than is solved at once. `together`: a prior, or an event whose size is not
/// stated, ties all rows to each other.
[[nodiscard]] Result<void> check_size(const JointSystem& system, bool together);

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

#pragma once

#include "joint_system.hpp"

namespace trimwright {

/// Prior coefficients at complex positions of the unknowns (X0, C_1 .. C_P of each row).
struct JointPrior {
  std::vector<std::size_t> unknown;
  PriorMoments moments;
  /// A coefficient since the last event is `factor` times what it is in the frame of the prior's rotors, with
  /// these exponents of the events' values, and `fitted` by the last fit. Empty where the job has no events.
  std::vector<Phasor> factor{}, fitted{};
  std::vector<Eigen::VectorXcd> exponents{};

  /// `factor` of the events' present values.
  void take_events(const JointSystem& system);
};

/// The regression with readings and prior (or none), noise and prior given. Open events are unknowns beside
/// baselines and coefficients, linear about their present values; `step` is what they are to be moved by.
/// Each has a prior so wide that it does not matter, and shows by a large variance where nothing tells it.
struct JointFit {
  InfluencePosterior posterior;
  Eigen::VectorXcd fitted;        ///< of every reading of the system
  std::vector<std::size_t> open;  ///< entries of JointSystem::events
  Eigen::VectorXd step;
  Eigen::MatrixXd step_covariance;
  /// Logarithm of the density of the readings, but for a constant.
  double log_evidence = 0.0;
};
[[nodiscard]] JointFit joint_fit(const JointSystem& system, const NoiseModel& noise, const JointPrior* prior);

/// Open events beyond this standard deviation are not told by the runs: angles [rad], logarithms of a ratio.
inline constexpr double most_event_sd = 0.5;

}  // namespace trimwright

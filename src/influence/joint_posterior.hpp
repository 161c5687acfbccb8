#pragma once

#include "joint_system.hpp"

namespace trimwright {

/// Prior coefficients at complex positions of the unknowns.
struct JointPrior {
  std::vector<std::size_t> unknown;
  PriorMoments moments;
};

/// The regression with readings and prior, noise and prior given. `log_evidence`: logarithm of the density of
/// the readings, but for a constant.
[[nodiscard]] InfluencePosterior posterior_with_prior(const JointSystem& system, const NoiseModel& noise,
                                                      const JointPrior& prior,
                                                      double* log_evidence = nullptr);

}  // namespace trimwright

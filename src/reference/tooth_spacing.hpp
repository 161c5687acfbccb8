#pragma once

#include <Eigen/Core>
#include <span>

namespace trimwright {

/// Deviation of each passage from smooth motion, as shaft angle [rad]: positive when the shaft has turned
/// further than nominal as that tooth passes.
///
/// From each time the mean over the one revolution centred on it is taken away, and once more from what is
/// left: a pattern that repeats every revolution keeps its shape, while motion that is a cubic in the count
/// (any speed, run-up and its change) vanishes. NaN in the first and last revolution and for absent teeth.
/// Once-per-revolution unevenness of the rotation itself cannot be told from the spacing of the teeth.
[[nodiscard]] Eigen::ArrayXd deviations_rad(std::span<const double> times_s, std::span<const char> present,
                                            int teeth);

}  // namespace trimwright

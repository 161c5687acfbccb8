#pragma once

#include "trimwright/influence.hpp"

namespace trimwright {

/// Condition of the coefficients, rows divided by their limits and columns by their norms.
[[nodiscard]] double condition_of_planes(const Job& job, const InfluenceModel& model);

/// Below this share of the reading no instrument tells a change from none; our own figure.
inline constexpr double no_effect = 1e-6;

/// Whether the weights that the runs changed in each plane changed a reading at all. `unbalance`: U of the
/// runs used, one column per plane of the model. Error: those of a plane did not.
[[nodiscard]] Result<void> check_effects(const Job& job, const InfluenceModel& model,
                                         const Eigen::MatrixXcd& unbalance);

}  // namespace trimwright

#pragma once

#include "trimwright/influence/influence_model.hpp"

namespace trimwright {

/// Condition of the coefficients, rows divided by their limits and columns by their norms.
[[nodiscard]] double condition_of_planes(const Job& job, const InfluenceModel& model);

}  // namespace trimwright

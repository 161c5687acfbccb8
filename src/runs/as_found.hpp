#pragma once

#include "trimwright/job.hpp"

namespace trimwright {

/// What the first run that is not set aside had fitted, one entry per plane; a job has such a run.
[[nodiscard]] const std::vector<FittedWeights>& fitted_as_found(const Job& job);

}  // namespace trimwright

#pragma once

#include <string>

#include "trimwright/job.hpp"

namespace trimwright {

/// The `ready 1` document (docs/json.md). `knows_type`: the job has a prior.
[[nodiscard]] std::string ready_json(const Job& job, const Readiness& readiness, bool knows_type = false);

}  // namespace trimwright

#pragma once

#include <string>

#include "trimwright/job.hpp"

namespace trimwright {

/// The `ready 1` document (docs/json.md).
[[nodiscard]] std::string ready_json(const Job& job, const Readiness& readiness);

}  // namespace trimwright

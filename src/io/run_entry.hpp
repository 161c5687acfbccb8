#pragma once

#include <string>

#include "trimwright/plan.hpp"

namespace trimwright {

/// Of the run made with a plan's weights: how its steps are printed, how the job file takes it up, for a
/// person to copy, and the command after that. Empty: nothing is changed. Without the lines where something
/// is fitted that no catalogue names.
[[nodiscard]] std::string run_entry(const Job& job, const BalancePlan& plan, const std::string& job_file);

}  // namespace trimwright

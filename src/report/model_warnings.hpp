#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// What a person must know before trusting the model, the gravest first: conventions contradicted, runs set
/// aside, readings left out, rows that cannot be predicted, planes or runs hardly told apart, scatter beyond
/// the stated.
[[nodiscard]] std::vector<std::string> model_warnings(const Job& job, const InfluenceModel& model);

/// That the runs are as many as the unknowns and nothing else checks them; empty where that is not so.
[[nodiscard]] std::optional<ReadinessFinding> nothing_spare(const Job& job, const InfluenceModel& model);

}  // namespace trimwright

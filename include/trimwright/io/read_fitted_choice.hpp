#pragma once

#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/runs/job.hpp"

namespace trimwright {

/// Reads a person's choice of weights (the `fitted 1` document of docs/json.md): all that the slots of every
/// plane would hold, one entry per plane of the rotor. Pieces that sit in no slot stay as they are fitted
/// now. Errors: made for another rotor or serial; a plane with slots left out; no such slot, or an unusable
/// one; no such weight; more pieces than the stock.
[[nodiscard]] Result<std::vector<FittedWeights>> read_fitted_choice(const std::string& path, const Job& job);

}  // namespace trimwright

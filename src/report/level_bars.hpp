#pragma once

#include <string>
#include <vector>

#include "trimwright/trim.hpp"

namespace trimwright {

/// A line for each prediction, its limit always at the same column: `#` up to the expected amplitude, `o`
/// now,
/// `|` the target, `]` the limit. What lies more than a fifth above its limit is drawn there as `>`.
[[nodiscard]] std::string level_bars(const Job& job, const std::vector<Prediction>& predictions,
                                     std::size_t width);

}  // namespace trimwright

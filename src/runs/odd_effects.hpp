#pragma once

#include <vector>

#include "trimwright/job.hpp"

namespace trimwright {

/// How many times further than at the speeds beside it a run must have moved one sensor's reading, and no
/// other sensor's, to be asked about (our own figure: a resonance moves all sensors).
inline constexpr double odd_effect_ratio = 4.0;

/// Readings that a change of weights moved far more than those of the same sensor at the speeds beside it.
/// `runs`: used, with readings, in order.
void judge_effects(const Job& job, const std::vector<std::size_t>& runs,
                   std::vector<ReadinessFinding>& findings);

}  // namespace trimwright

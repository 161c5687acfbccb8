#pragma once

#include <vector>

#include "trimwright/job.hpp"

namespace trimwright {

// What was written down that looks like a slip. `runs`: used, with readings, in order.

/// A speed at which one run alone has a reading of a sensor, and that is a digit away from one of the other
/// runs that this run lacks.
void judge_speeds(const Job& job, const std::vector<std::size_t>& runs,
                  std::vector<ReadinessFinding>& findings);

/// Conditions that two runs state quite differently, or those that matter at all differently or not; and
/// runs made long after each other.
void judge_conditions(const Job& job, const std::vector<std::size_t>& runs,
                      std::vector<ReadinessFinding>& findings);

/// Pieces of the first run that a run with pieces of its own lists no more, nothing being listed in their
/// place, though they are listed again later, or none of them is left.
void judge_lists(const Job& job, const std::vector<std::size_t>& runs,
                 std::vector<ReadinessFinding>& findings);

}  // namespace trimwright

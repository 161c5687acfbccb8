#pragma once

#include <string>
#include <vector>

#include "trim_rows.hpp"

namespace trimwright {

/// Rules of a trim that contradict each other: without any one of them the others can be kept.
struct Conflict {
  std::vector<std::string> rules;
  bool smallest = true;  ///< false: for some of them there was no time to see whether they are needed
};

/// For a request that no choice of weights satisfies. A deletion filter (J. W. Chinneck, Feasibility and
/// Infeasibility in Optimization, 2008, chapter 6): rules are dropped one at a time, and stay dropped where
/// what is left is still proved impossible. What the deadline leaves no time for stays in.
[[nodiscard]] Conflict conflicting_rules(const Job& job, const InfluenceModel& model,
                                         const TrimRequest& request, const std::vector<std::size_t>& planes,
                                         const Deadline& deadline);

}  // namespace trimwright

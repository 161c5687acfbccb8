#pragma once

#include <optional>
#include <vector>

#include "trimwright/influence/influence_review.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

/// What happens to the plan without the suspect readings: the correction, were weights to come in every size
/// and at every angle, with and without them.
struct SuspectEffect {
  std::vector<ReviewedReading> left_out;
  Correction with;
  std::optional<Correction> without;  ///< empty: the other readings settle none
};

/// Empty where no reading is suspect, or no correction can be reckoned at all.
[[nodiscard]] std::optional<SuspectEffect> effect_of_suspects(const Job& job, const InfluenceModel& model,
                                                              const InfluenceReview& review,
                                                              const TrimRequest& request = {});

}  // namespace trimwright

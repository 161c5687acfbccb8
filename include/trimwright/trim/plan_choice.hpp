#pragma once

#include <vector>

#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

/// The slots whose content differs between what is fitted now and `fitted` (one entry per plane), by plane
/// and slot.
[[nodiscard]] std::vector<SlotChange> changes_to(const Job& job, const std::vector<FittedWeights>& fitted);

/// As `plan_trim`, but what is carried out is a person's own choice: `fitted` is all that the slots shall
/// hold, one entry per plane. The planner's rows stay in the trade-off beside the choice.
///
/// Errors: those of `plan_trim`; planes without slots; a plane whose weights the choice changes and whose
/// coefficients are not known; a rule of a plane or of the request that the choice does not keep.
[[nodiscard]] Result<TrimPlan> plan_choice(const Job& job, const InfluenceModel& model,
                                           const TrimRequest& request,
                                           const std::vector<FittedWeights>& fitted,
                                           const Deadline& deadline);
[[nodiscard]] inline Result<TrimPlan> plan_choice(const Job& job, const InfluenceModel& model,
                                                  const TrimRequest& request,
                                                  const std::vector<FittedWeights>& fitted) {
  return plan_choice(job, model, request, fitted, Deadline::after(request.time_limit_s));
}

}  // namespace trimwright

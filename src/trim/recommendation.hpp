#pragma once

#include <string>
#include <vector>

#include "trimwright/trim.hpp"

namespace trimwright {

/// A row of the trade-off, and why it is recommended: in words for the plan.
struct Recommendation {
  std::size_t row = 0;
  std::string why;
};

/// As `plan_trim` documents. `sd_of_best`: of the worst ratio of the row in which it is smallest, 0: not
/// known. `with_any_weights`: the next run, were weights to come in every size and at every angle.
[[nodiscard]] Recommendation recommendation(const Job& job, const std::vector<TradeOffRow>& rows,
                                            double sd_of_best, const InfluenceModel& model,
                                            const std::optional<Outlook>& with_any_weights);

}  // namespace trimwright

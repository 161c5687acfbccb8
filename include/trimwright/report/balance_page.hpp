#pragma once

#include <string>
#include <vector>

#include "trimwright/check/verdict.hpp"
#include "trimwright/influence/influence_model.hpp"
#include "trimwright/plan/balance_plan.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

/// Short marks for the weights of a plane's catalogue where there is little room: the ids themselves when
/// none has more than three characters, else A, B, ... Z, AA, AB, ...
[[nodiscard]] std::vector<std::string> weight_marks(const Plane& plane);

/// Whether a run was made with what `fitted` says of the slots (one entry per plane) and has readings to
/// compare.
[[nodiscard]] bool made_with(const Run& run, const std::vector<FittedWeights>& fitted);

/// The balance page: one self-contained HTML file (no network, no outside fonts or scripts) that shows the
/// plan, draws slots and vibration, answers "what if", and prints a sheet to file. `page_data` is the `page
/// 1` document of `page_json`; the page's own arithmetic starts from it. `verdict`: `verdict_on` the run made
/// with the plan's weights, which took no part in the model; null where there is none. Whatever names, notes
/// and serials hold is shown as text.
[[nodiscard]] std::string balance_page(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                       const BalancePlan& plan, const std::string& page_data,
                                       const Verdict* verdict = nullptr);

}  // namespace trimwright

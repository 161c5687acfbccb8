#pragma once

#include <string>

#include "trimwright/influence/influence_model.hpp"
#include "trimwright/plan/balance_plan.hpp"
#include "trimwright/plan/trial_advice.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

/// The `plan 1` document, described in docs/json.md.
[[nodiscard]] std::string plan_json(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                    const BalancePlan& plan);

/// The `trial 1` document.
[[nodiscard]] std::string trial_json(const Job& job, const TrialAdvice& advice, const BalancePlan& plan);

/// The `influence 1` document.
[[nodiscard]] std::string influence_json(const Job& job, const InfluenceModel& model);

/// The `tolerance 1` document.
[[nodiscard]] std::string tolerance_json(double rpm);

}  // namespace trimwright

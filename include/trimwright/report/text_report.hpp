#pragma once

#include <string>

#include "trimwright/influence/influence_model.hpp"
#include "trimwright/plan/balance_plan.hpp"
#include "trimwright/plan/trial_advice.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

/// The balance plan for a terminal or a printer: plain UTF-8 text, at most 100 columns, no colour.
[[nodiscard]] std::string plan_text(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                                    const BalancePlan& plan);

/// The advice on the next trial run, and its plan.
[[nodiscard]] std::string trial_text(const Job& job, const TrialAdvice& advice, const BalancePlan& plan);

/// The influence coefficients and how well the runs settle them.
[[nodiscard]] std::string influence_text(const Job& job, const InfluenceModel& model);

/// Permissible specific unbalance of ISO 21940-11 by grade at `rpm`: for the shop, never a limit on wing.
[[nodiscard]] std::string tolerance_text(double rpm);

}  // namespace trimwright

#pragma once

#include <string>

#include "trimwright/influence/influence_model.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

/// The `page 1` document: what the balance page's own arithmetic starts from (described in docs/page.md).
[[nodiscard]] std::string page_json(const Job& job, const InfluenceModel& model, const TrimPlan& trim);

}  // namespace trimwright

#pragma once

#include "runs_fit.hpp"
#include "trimwright/review.hpp"

namespace trimwright {

/// Fills in the singular values and the planes that act alike.
void review_planes(const Job& job, const InfluenceModel& model, InfluenceReview& review);

/// Empty where no weights were run twice, or where there are no more settings than unknowns.
[[nodiscard]] std::optional<LackOfFit> lack_of_fit(const RunsFit& fit);

}  // namespace trimwright

#pragma once

#include <vector>

#include "slot_catalogue.hpp"
#include "trim_rows.hpp"

namespace trimwright {

/// Moments to add in the planes of `rows` that make it most probable that every reading of the next run
/// meets its target, were weights to come in every size and at every angle; searched from `start`.
[[nodiscard]] Eigen::VectorXcd probable_moments(const Job& job, const InfluencePosterior& belief,
                                                const TrimRows& rows, const Eigen::VectorXcd& start,
                                                const Deadline& deadline);

/// Admissible choices of at most as many changes as the catalogue's problem allows that may be the most
/// probable: the nearest to `moments` for every number of changes and a few more of each, near in least
/// squares over the targets, each row counted by the chance that it alone misses its target at `moments`.
/// All searches together end at the deadline.
[[nodiscard]] std::vector<SlotChoice> choices_near(const Job& job, const InfluencePosterior& belief,
                                                   const TrimRows& rows, const SlotCatalogue& catalogue,
                                                   const Eigen::VectorXcd& moments, const Deadline& deadline);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>

#include <optional>
#include <vector>

#include "trimwright/deadline.hpp"
#include "trimwright/influence.hpp"

namespace trimwright {

/// The chance that every reading of the next run meets its target with moments added in some planes, as a
/// share of a posterior's draws.
struct MostProbable {
  double found = 0.0;  ///< the largest of those looked at, or the one known before
  double bound = 0.0;  ///< no moments within reach have a larger one
};

/// Of moments of any size and angle with |Re u_p|, |Im u_p| <= `reach` (per plane [g mm]), fitted without
/// error. `entries`: the planes as entries of the posterior's; `target`: per row, peak; `known`: a chance
/// that is reached. Empty where the posterior has no draws.
///
/// Branch and bound (A. H. Land and A. G. Doig, *Econometrica* 28 (1960)) over boxes of moments, halved where
/// that changes most: a draw misses in a whole box where a reading at its middle is above the target by more
/// than the box can change it. Ends when bound and found differ by half a percent, at the deadline, or after
/// a fixed effort; the bound holds whenever it ends.
[[nodiscard]] std::optional<MostProbable> most_probable(const InfluencePosterior& posterior,
                                                        const Eigen::VectorXcd& unbalance_now,
                                                        const std::vector<std::size_t>& entries,
                                                        const Eigen::VectorXd& target,
                                                        const Eigen::VectorXd& reach, double known,
                                                        Deadline deadline);

}  // namespace trimwright

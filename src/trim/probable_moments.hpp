#pragma once

#include "forecast/outlook.hpp"
#include "trimwright/deadline.hpp"
#include "trimwright/forecast.hpp"

namespace trimwright {

/// The moments to add in planes `entries` (positions in the posterior's planes) that make it most probable
/// that every reading of the next run meets its target, searched from `start` by the simplex method of J. A.
/// Nelder and R. Mead (*Computer Journal* 7 (1965)) on a smoothed probability; the best so far when the
/// deadline has passed.
[[nodiscard]] Eigen::VectorXcd most_probable_moments(const InfluencePosterior& posterior,
                                                     const Eigen::VectorXcd& unbalance_now,
                                                     const std::vector<std::size_t>& entries,
                                                     const RowLevels& levels, const Eigen::VectorXcd& start,
                                                     Deadline deadline);

}  // namespace trimwright

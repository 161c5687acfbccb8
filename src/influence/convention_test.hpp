#pragma once

#include "trimwright/influence.hpp"

namespace trimwright {

/// Every way of declaring that a fleet's prior can tell, the likeliest first; each against what the job
/// declares. Empty where no run changed a weight: then the runs tell nothing of angles.
///
/// Of each form the runs and the prior together are fitted, with as many unknowns; their chi-squared is
/// scaled down where even the best fit scatters more than is stated. A way of several forms (which plane, how
/// many slots) is as likely as their mean, a few slots off the likelier (1/k^2). `job`: its convention of
/// phase settled.
[[nodiscard]] std::vector<ConventionOdds> compare_with_fleet(const Job& job,
                                                             const std::vector<std::size_t>& planes,
                                                             const Prior& prior);

}  // namespace trimwright

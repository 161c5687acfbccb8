#pragma once

namespace trimwright {

/// Probability of a chi-squared with so many degrees of freedom (at least 1) that is as large.
[[nodiscard]] double chance_of_chi_squared(double chi_squared, double degrees_of_freedom);

}  // namespace trimwright

#pragma once

namespace trimwright {

/// Probability of a chi-squared with so many degrees of freedom (at least 1) that is as large.
[[nodiscard]] double chance_of_chi_squared(double chi_squared, double degrees_of_freedom);

/// Probability of a quotient of two mean squares with so many degrees of freedom (Fisher's F) that is as
/// large.
[[nodiscard]] double chance_of_quotient(double quotient, double degrees_above, double degrees_below);

/// Probability of a squared distance of `components` real normal components, in estimated standard deviations
/// known with `degrees_of_freedom`, that is as large; 1 without components.
[[nodiscard]] double chance_of_distance(double squared, int components, double degrees_of_freedom);

}  // namespace trimwright

#pragma once

#include <complex>

namespace trimwright {

/// E. S. Page's cumulative sum (*Biometrika* 41, 1954) of values that are standard normal while nothing has
/// changed, against a shift to either side: S = max(0, S + z - k), and the same of -z.
struct Cusum {
  double up = 0.0;
  double down = 0.0;

  void add(double z, double k);
  /// The larger of the two.
  [[nodiscard]] double most() const { return up > down ? up : down; }
};

/// Mean number of values until S of one side is above `h`, the values shifted by `shift` standard deviations
/// to that side: (exp(-2 D b) + 2 D b - 1) / (2 D^2) with D = shift - k, b = h + 1.166 (D. Siegmund,
/// *Sequential Analysis*, 1985); within 3 % of the tables for k = 1/2.
[[nodiscard]] double cusum_run_length(double k, double h, double shift);

/// The `h` at which one side's mean number of values until a false alarm is `run_length`.
[[nodiscard]] double cusum_limit(double k, double run_length);

/// What `t`, a complex value over its standard deviation per component, is worth where that is estimated with
/// `freedom` degrees: in the same direction, its components standard normal. |t|^2 / 2 is Fisher's F of 2 and
/// `freedom` degrees (H. Hotelling's T^2, *Annals of Mathematical Statistics* 2, 1931), and comes out as the
/// chi-squared of 2 degrees that is as rare. Values so made, each by those before it, are independent, though
/// mean and scatter are learnt from them (D. M. Hawkins, *The Statistician* 36, 1987: self-starting sums).
/// Without a degree nothing can be said: 0.
[[nodiscard]] std::complex<double> normal_score(std::complex<double> t, double freedom);

/// The size of a score of two such components that is exceeded with probability `chance`.
[[nodiscard]] double score_limit(double chance);

}  // namespace trimwright

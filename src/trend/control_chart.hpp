#pragma once

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

/// What H. Hotelling's T^2 (*Annals of Mathematical Statistics* 2, 1931; control of quality, 1947) of
/// `components` real figures exceeds with probability `chance` where nothing has changed: chi-squared where
/// their scatter is known, and `components` times Fisher's F where its size alone is estimated, with
/// `freedom` degrees (infinite: known).
[[nodiscard]] double t_squared_limit(int components, double freedom, double chance);

/// The probability of a T^2 as large.
[[nodiscard]] double t_squared_chance(double t_squared, int components, double freedom);

/// The standard normal value as far out as Student's `t` of `freedom` degrees (D. M. Hawkins,
/// *The Statistician* 36, 1987, for sums of values whose scatter is estimated as they come).
[[nodiscard]] double normal_score(double t, double freedom);

}  // namespace trimwright

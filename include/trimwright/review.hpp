#pragma once

#include <Eigen/Core>

#include <cstddef>
#include <optional>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// Chance, shared among all readings (or all runs) tested, below which one is suspect.
inline constexpr double suspect_level = 0.05;
/// Readings further off than this share of the furthest are not told apart from it.
inline constexpr double as_far_share = 0.95;

/// How far a reading is from what the others of its speed and sensor say.
struct ReviewedReading {
  std::size_t run = 0;
  std::size_t speed = 0;
  std::size_t sensor = 0;
  double leverage = 0.0;  ///< 0..1: share of its own fitted value that it decides; 1: nothing checks it
  /// What it would have to be moved by to agree with the others, over that figure's standard deviation per
  /// real component: |residual| over its own where readings are not correlated. Empty where nothing checks
  /// it.
  std::optional<double> studentised;
  double probability = 1.0;  ///< of a residual as large (two real components: F with 2 and nu degrees)
  /// `probability` below `suspect_level` shared among all readings tested (Bonferroni), and the furthest of
  /// its speed and sensor, and of its run and sensor, or nearly (`as_far_share`): one wrong reading draws the
  /// fit from the others.
  bool suspect = false;
};

/// A run predicted from all the others.
struct ReviewedRun {
  std::size_t run = 0;
  int components = 0;     ///< real; 0: the others do not settle enough to predict it
  double distance = 0.0;  ///< squared Mahalanobis distance of its readings from the prediction
  double probability = 1.0;
  bool suspect = false;  ///< below `suspect_level` shared among all runs tested
};

/// What a trial weight should change (common practice, no published source).
inline constexpr double least_amplitude_share = 0.3, least_phase_deg = 30.0;

/// What a run with other weights than the first changed at the place that it moved least: the trade asks for
/// 30 % of the amplitude or 30 degrees of phase (common practice, no published source).
struct TrialEffect {
  std::size_t run = 0;
  std::size_t speed = 0, sensor = 0;  ///< the place
  double amplitude_share = 0.0;       ///< relative change of amplitude there
  double phase_deg = 0.0;             ///< change of phase there
  [[nodiscard]] bool too_small() const {
    return amplitude_share < least_amplitude_share && phase_deg < least_phase_deg;
  }
};

/// Cosine between the effects of two planes above which they are said to act alike (the condition of the
/// two is then above 6); our own figure.
inline constexpr double alike_cosine = 0.95;

/// Two planes that act alike at one sensor over a range of speeds: one is the other times a complex factor,
/// so that these readings do not tell which of the two to change.
struct AlikePlanes {
  std::size_t first = 0, second = 0;  ///< indices into Rotor::planes
  std::size_t sensor = 0;
  std::size_t from = 0, to = 0;  ///< speed points, two at least
  double cosine = 0.0;           ///< |c_1^H c_2| over their norms, rows over their limits
};

/// Whether the readings follow a line in U as well as repeats of the same weights agree: F of lack of fit
/// over pure error (N. R. Draper and H. Smith, *Applied Regression Analysis*, 3rd ed. 1998, chapter 2).
struct LackOfFit {
  double f = 0.0;
  int fit_dof = 0;   ///< real degrees of freedom of the lack of fit
  int pure_dof = 0;  ///< of the repeats
  double probability = 1.0;
};

/// What an engineer looks at before relying on a model.
struct InfluenceReview {
  Eigen::VectorXd singular_values;  ///< of the coefficients, rows over limits, columns to unit norm
  std::vector<AlikePlanes> alike_planes;
  std::optional<LackOfFit> lack_of_fit;   ///< where there are repeats and more settings than unknowns
  std::vector<ReviewedReading> readings;  ///< furthest first
  int readings_tested = 0;
  std::vector<ReviewedRun> runs;
  int runs_tested = 0;
  std::vector<TrialEffect> trials;
};

/// Reviews the runs on their own, without a prior (planes, singular values and likeness are the model's).
/// Residuals are studentised by all that is known of the noise (R. D. Cook and S. Weisberg, *Residuals and
/// Influence in Regression*, 1982, chapter 2; correlated: W. Baarda, *A testing procedure for use in geodetic
/// networks*, 1968), a complex one having two degrees of freedom. Where a speed and sensor have
/// one reading to spare, all their residuals are equally far: the review cannot tell which of them is wrong.
/// Empty of readings and runs where no reading noise is known.
[[nodiscard]] InfluenceReview review_influence(const Job& job, const InfluenceModel& model);

}  // namespace trimwright

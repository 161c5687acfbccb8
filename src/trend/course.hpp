#pragma once

#include <Eigen/Core>

#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

namespace trimwright {

/// Readings of a rotor that nobody touched, date by date, and what is expected of them. Rows are places (a
/// speed and a sensor); values are complex, covariances per real component, circular.
struct DatedSeries {
  Eigen::MatrixXcd read;           ///< dates x rows; NaN where nothing was read
  Eigen::VectorXcd expected;       ///< by row
  Eigen::MatrixXcd unsure;         ///< covariance of `expected`
  Eigen::MatrixXcd noise;          ///< of one date's readings, each date on its own
  std::vector<std::size_t> group;  ///< of each row: the sensor, whose scatter is one
  Eigen::VectorXd to_find;         ///< size of the step at each row that is to be found soon
  bool stated = true;              ///< `noise` is the least that is believed; else an estimate
  /// Degrees of freedom of what of `noise` is estimated; infinite: nothing is.
  double freedom = std::numeric_limits<double>::infinity();
};

/// An `unsure` that says that nothing is expected yet: the first readings then tell it.
[[nodiscard]] Eigen::MatrixXcd nothing_expected(const Eigen::MatrixXcd& noise);

/// How a reading's date compares.
struct DateJudged {
  Eigen::VectorXcd expected;  ///< of this date, from what was expected and all readings since the last change
  Eigen::VectorXd sd;         ///< of reading minus expected, per real component
  double t_squared = 0.0;     ///< of all rows read
  int components = 0;         ///< two a row read; 0: nothing was expected yet
  double freedom = 0.0;       ///< degrees of freedom of the scatter
  double cusum = 0.0;         ///< the largest cumulative sum over its limit

  /// What a sound date's `t_squared` exceeds hardly ever.
  [[nodiscard]] double t_squared_limit() const;
};

/// One change of the readings.
struct SeriesChange {
  enum class Kind {
    step,        ///< from one date to the next, and so it stayed
    lone,        ///< for a few dates, then as before
    last_alone,  ///< the last date alone: a step, or one wrong reading
    gradual      ///< little by little, or in steps the same way soon after each other
  };
  Kind kind = Kind::step;
  std::size_t first = 0;        ///< first date that is changed (gradual: that has begun to)
  std::size_t last = 0;         ///< last date that is so, or the end of the gradual change
  std::size_t found = 0;        ///< the date that told it
  bool by_t_squared = false;    ///< one date's readings alone told it; else the sum of several
  std::size_t row = 0;          ///< where that sum was largest
  Eigen::VectorXcd before;      ///< level by row; NaN where nothing was expected
  Eigen::VectorXcd after;       ///< NaN where nothing was read since
  Eigen::MatrixXcd covariance;  ///< of after minus before
};

/// What became of a series.
struct SeriesCourse {
  std::vector<DateJudged> dates;
  std::vector<SeriesChange> changes;
  Eigen::VectorXd scatter;  ///< by group: how many times `noise` the readings scatter between dates (>= 1
                            ///< where noise is stated)
};

/// Chance of a false alarm anywhere in a series of `sound_dates` dates: half of it for single dates (T^2),
/// half for sums of several (CUSUM), shared among all places, components and sides (Bonferroni).
inline constexpr double false_alarms = 0.01;
inline constexpr double sound_dates = 200.0;

/// Dates that tell how readings scatter; with fewer than `fewest_for_scatter` only what is stated is known.
inline constexpr std::size_t beginning = 10;
inline constexpr std::size_t fewest_for_scatter = 5;

/// Judges each date by those before it.
///
/// Expected is carried on: after each date the mean given all dates since the last change (recursive least
/// squares), so that what a date differs by is independent of those before it, and the uncertainty of what is
/// expected is in its ± (R. L. Brown, J. Durbin and J. M. Evans, *J. Roy. Stat. Soc. B* 37, 1975). T^2 is of
/// all rows of a date; sums are of each row along what is expected (amplitude) and across it (phase), with k
/// half the step to be found in standard deviations, between 1/2 and 1. Scatter: of differences of successive
/// dates of the beginning, the largest left out so that a step there does not count, and of every date since;
/// never less than what is stated. Whose scatter is estimated is judged by F and Student's t.
///
/// A change is dated where a step, or a change little by little, explains best the readings up to the date
/// that told it (likelihood; D. V. Hinkley, *Biometrika* 57, 1970); after it the series begins anew.
[[nodiscard]] SeriesCourse judge_course(const DatedSeries& series);

}  // namespace trimwright

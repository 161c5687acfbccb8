#pragma once

#include <Eigen/Core>

#include <cstddef>
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
  bool stated = true;              ///< the size of `noise` is; else the series alone tells it
};

/// An `unsure` that says that nothing is expected yet: the first readings then tell it.
[[nodiscard]] Eigen::MatrixXcd nothing_expected(const Eigen::MatrixXcd& noise);

/// How a reading's date compares.
struct DateJudged {
  Eigen::VectorXcd expected;  ///< of this date, from what was expected and all readings since the last change
  Eigen::VectorXd sd;         ///< of reading minus expected, per real component
  Eigen::VectorXcd score;     ///< reading minus expected, made standard normal (`normal_score`); NaN: none
  double alone = 0.0;         ///< the largest score over its limit
  double sum = 0.0;           ///< the largest cumulative sum of scores over its limit
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
  bool by_one_date = false;     ///< one date's readings alone told it; else the sum of several
  std::size_t row = 0;          ///< where that sum was largest
  Eigen::VectorXcd before;      ///< level by row; NaN where nothing was expected
  Eigen::VectorXcd after;       ///< NaN where nothing was read since
  Eigen::MatrixXcd covariance;  ///< of after minus before
};

/// What became of a series.
struct SeriesCourse {
  std::vector<DateJudged> dates;
  std::vector<SeriesChange> changes;
  Eigen::VectorXd scatter;  ///< by group: how many times `noise` the readings scatter between dates
};

/// Chance of a false alarm anywhere in a series of `sound_dates` dates: half of it for single dates (T^2),
/// half for sums of several (CUSUM), shared among all places, axes and sides (C. E. Bonferroni: it holds
/// however these hang together). Half of 1 in 100, as what is stated of the scatter is seldom exact.
inline constexpr double false_alarms = 0.005;
inline constexpr double sound_dates = 200.0;
/// So many dates tell how readings scatter about as well as need be, where nothing is stated.
inline constexpr std::size_t dates_to_learn = 20;

/// Judges each date by those before it.
///
/// Expected is carried on: after each date the mean given all dates since the last change (recursive least
/// squares), so that what a date differs by is independent of those before it, and the uncertainty of what is
/// expected is in its ± (R. L. Brown, J. Durbin and J. M. Evans, *J. Roy. Stat. Soc. B* 37, 1975). Scatter is
/// carried on likewise, for each place: that of the dates before it and, where something is stated, that of
/// its sensor, which starts from what is stated. Each reading is judged by its score; the sums are of each
/// place's scores along three axes, with k half the step to be found in standard deviations, between 1/2 and
/// 1.
///
/// A change is dated where a step, or a change little by little, explains best the readings up to the date
/// that told it (likelihood; D. V. Hinkley, *Biometrika* 57, 1970); after it the series begins anew.
[[nodiscard]] SeriesCourse judge_course(const DatedSeries& series);

}  // namespace trimwright

#include "course.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "base/chance.hpp"
#include "control_chart.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::VectorXcd;
using Rows = std::vector<Index>;

/// Standard deviations, over those of a reading, of what nobody knows.
constexpr double not_known = 1e3;
/// Degrees of freedom that what is stated of a sensor's scatter counts as, and what the sensor's scatter
/// counts as for each of its places (our own figures: as five dates, and as ten).
constexpr double stated_freedom = 10.0, sensor_freedom = 20.0;
/// Axes along which the scores of a place are summed, 60° from each other: no change is more than 30° from
/// one.
constexpr std::size_t axes = 3;
/// A score counts as this much at most among those that tell the scatter, so that a change does not pass for
/// scatter: one in a hundred is larger.
const double largest_score = score_limit(0.01);
/// A change little by little must explain the readings so much better than a step: odds of 20.
constexpr double gradual_odds = 20.0;
/// Cosine between two changes above which the second is more of the first.
constexpr double alike_ways = 0.8;
/// Dates within which it follows soon.
constexpr Index soon_after = 20;
/// Chance of a reading as far from what was before, below which it is not back there.
constexpr double hardly_as_before = 1e-3;
/// Dates before the one that told a change among which its beginning is sought.
constexpr Index most_looked_back = 60;

bool is_read(std::complex<double> x) { return !std::isnan(x.real()); }

Rows rows_read(const Eigen::Ref<const Eigen::RowVectorXcd>& read) {
  Rows rows;
  for (Index i = 0; i < read.size(); ++i)
    if (is_read(read(i))) rows.push_back(i);
  return rows;
}

double squared(const MatrixXcd& covariance, const VectorXcd& off) {
  return off.size() == 0 ? 0.0 : Eigen::LLT<MatrixXcd>(covariance).matrixL().solve(off).squaredNorm();
}

/// How far readings scatter, squared and over `DatedSeries::noise`.
struct Scatter {
  double squares = 0.0;
  double freedom = 0.0;

  [[nodiscard]] double variance() const { return freedom > 0.0 ? squares / freedom : 1.0; }
};

/// The level and how well it is known.
struct Level {
  VectorXcd mean;
  MatrixXcd unsure;
};

class Course {
 public:
  explicit Course(const DatedSeries& series) : s_(series), n_(series.read.rows()) {
    const double stated = s_.stated ? stated_freedom : 0.0;
    std::size_t groups = 0;
    for (const std::size_t g : s_.group) groups = std::max(groups, g + 1);
    sensors_.assign(groups, {stated, stated});
    places_.resize(s_.group.size());
    const auto rows = static_cast<double>(s_.read.cols());
    const double half = 0.5 * false_alarms / (sound_dates * rows);  // for each date and place
    score_limit_ = score_limit(half);
    for (Index i = 0; i < s_.read.cols(); ++i) {
      const double k = std::clamp(0.5 * s_.to_find(i) / std::sqrt(s_.noise(i, i).real()), 0.5, 1.0);
      sum_k_.push_back(k);
      sum_limit_.push_back(cusum_limit(k, 2.0 * axes / half));
    }
  }

  SeriesCourse judged() {
    level_ = {s_.expected, s_.unsure};
    begin_sums();
    course_.dates.resize(static_cast<std::size_t>(n_));
    before_.resize(static_cast<std::size_t>(n_));
    Index date = 0;
    while (date < n_) date = judge(date);
    end_change();
    course_.scatter.resize(static_cast<Index>(sensors_.size()));
    for (std::size_t g = 0; g < sensors_.size(); ++g)
      course_.scatter(static_cast<Index>(g)) = std::sqrt(sensors_[g].variance());
    return std::move(course_);
  }

 private:
  void begin_sums() { sums_.assign(s_.group.size(), {}); }

  /// Of a place: its own, and its sensor's where something is stated to begin with.
  [[nodiscard]] Scatter scatter(Index row) const {
    const auto i = static_cast<std::size_t>(row);
    const double shared = s_.stated ? sensor_freedom : 0.0;
    return {shared * sensors_[s_.group[i]].variance() + places_[i].squares, shared + places_[i].freedom};
  }

  [[nodiscard]] Eigen::VectorXd factors(const Rows& rows) const {
    Eigen::VectorXd factor(static_cast<Index>(rows.size()));
    for (Index i = 0; i < factor.size(); ++i)
      factor(i) = std::sqrt(scatter(rows[static_cast<std::size_t>(i)]).variance());
    return factor;
  }

  [[nodiscard]] MatrixXcd scaled(const MatrixXcd& covariance, const Rows& rows) const {
    const Eigen::VectorXcd factor = factors(rows).cast<std::complex<double>>();
    return factor.asDiagonal() * covariance * factor.asDiagonal();
  }

  /// Whether anything is expected of a row: nothing is where its first reading tells it.
  [[nodiscard]] bool is_expected(Index row) const { return is_known(level_, row); }
  [[nodiscard]] bool is_known(const Level& level, Index row) const {
    return level.unsure(row, row).real() < 0.25 * not_known * not_known * s_.noise(row, row).real();
  }

  /// The date after the one judged, or an earlier one where the series begins anew.
  Index judge(Index date) {
    before_[static_cast<std::size_t>(date)] = level_;
    const Rows read = rows_read(s_.read.row(date));
    DateJudged& now = course_.dates[static_cast<std::size_t>(date)];
    Index furthest = 0;
    compare(date, now, furthest);
    if (now.alone > 1.0 || now.sum > 1.0) return changed(date, now.alone > 1.0, furthest);
    learn_scatter(date, now.score);
    take(read, (s_.read(date, read)).transpose());
    return date + 1;
  }

  /// `furthest`: the row whose sum is largest over its limit.
  void compare(Index date, DateJudged& now, Index& furthest) {
    const Index rows = s_.read.cols();
    now.expected = now.score = VectorXcd::Constant(rows, std::nan(""));
    now.sd = Eigen::VectorXd::Constant(rows, std::nan(""));
    for (Index i = 0; i < rows; ++i) {
      if (!is_expected(i)) continue;
      const Scatter known = scatter(i);
      const std::complex<double> mean = level_.mean(i);
      now.expected(i) = mean;
      now.sd(i) = std::sqrt(known.variance() * around(i));
      if (!is_read(s_.read(date, i))) continue;
      now.score(i) = normal_score((s_.read(date, i) - mean) / now.sd(i), known.freedom);
      now.alone = std::max(now.alone, std::abs(now.score(i)) / score_limit_);
      if (const double sum = add_to_sums(i, now.score(i)); sum > now.sum) now.sum = sum, furthest = i;
    }
  }

  /// Variance of a row's reading about what is expected, where readings scatter as `DatedSeries::noise` says.
  [[nodiscard]] double around(Index i) const { return (level_.unsure(i, i) + s_.noise(i, i)).real(); }

  /// The row's largest sum over its limit.
  double add_to_sums(Index row, std::complex<double> score) {
    const auto at = static_cast<std::size_t>(row);
    double largest = 0.0;
    for (std::size_t axis = 0; axis < axes; ++axis) {
      const double turn = M_PI * static_cast<double>(axis) / axes;
      sums_[at][axis].add((score * std::polar(1.0, turn)).real(), sum_k_[at]);
      largest = std::max(largest, sums_[at][axis].most());
    }
    return largest / sum_limit_[at];
  }

  /// The level, given one date's readings of `rows` more.
  void take(const Rows& rows, const VectorXcd& read) {
    const MatrixXcd across = level_.unsure(Eigen::all, rows);
    const Eigen::LLT<MatrixXcd> around(MatrixXcd(level_.unsure(rows, rows) + s_.noise(rows, rows)));
    const VectorXcd off = read - level_.mean(rows);
    level_.mean += across * around.solve(off);
    level_.unsure -= across * around.solve(MatrixXcd(across.adjoint()));
    level_.unsure = MatrixXcd(0.5 * (level_.unsure + level_.unsure.adjoint()));
  }

  /// A date counts once for a sensor, however many places it reads: what they share is not known.
  void learn_scatter(Index date, const VectorXcd& score) {
    std::vector<Scatter> today(sensors_.size());
    for (Index i = 0; i < score.size(); ++i) {
      if (!is_read(score(i))) continue;
      const double size = std::abs(score(i));
      const double less = size > largest_score ? largest_score / size : 1.0;
      const auto at = static_cast<std::size_t>(i);
      const double squares = less * less * std::norm(s_.read(date, i) - level_.mean(i)) / around(i);
      Scatter& of_sensor = today[s_.group[at]];
      of_sensor = {of_sensor.squares + squares, of_sensor.freedom + 1.0};
      places_[at] = {places_[at].squares + squares, places_[at].freedom + 2.0};
    }
    for (std::size_t g = 0; g < today.size(); ++g)
      if (today[g].freedom > 0.0)
        sensors_[g] = {sensors_[g].squares + today[g].variance(), sensors_[g].freedom + 2.0};
  }

  /// How well a change of level from `first` on explains the dates up to `date`: squared distance that it
  /// takes away. `gradual`: growing by as much every date.
  [[nodiscard]] double explained(Index first, Index date, bool gradual) const {
    const Level& known = before_[static_cast<std::size_t>(first)];
    VectorXcd sum = VectorXcd::Zero(s_.read.cols());
    Eigen::VectorXd weights = Eigen::VectorXd::Zero(s_.read.cols()), squares = weights;
    for (Index t = first; t <= date; ++t) {
      const double w =
          gradual ? static_cast<double>(t - first + 1) / static_cast<double>(date - first + 1) : 1.0;
      for (const Index i : rows_read(s_.read.row(t))) {
        sum(i) += w * (s_.read(t, i) - known.mean(i));
        weights(i) += w;
        squares(i) += w * w;
      }
    }
    Rows rows;
    for (Index i = 0; i < weights.size(); ++i)
      if (weights(i) > 0.0) rows.push_back(i);
    const auto n = static_cast<Index>(rows.size());
    VectorXcd step(n);
    MatrixXcd around(n, n);
    for (Index a = 0; a < n; ++a) {
      const Index i = rows[static_cast<std::size_t>(a)];
      step(a) = sum(i) / squares(i);
      for (Index b = 0; b < n; ++b) {
        const Index j = rows[static_cast<std::size_t>(b)];
        around(a, b) = s_.noise(i, j) / std::sqrt(squares(i) * squares(j)) +
                       known.unsure(i, j) * (weights(i) / squares(i)) * (weights(j) / squares(j));
      }
    }
    return squared(scaled(around, rows), step);
  }

  [[nodiscard]] std::pair<Index, double> likeliest(Index date, bool gradual) const {
    std::pair<Index, double> best{date, -1.0};
    for (Index first = std::max(begin_, date - most_looked_back); first <= date - (gradual ? 3 : 0); ++first)
      if (const double one = explained(first, date, gradual); one > best.second) best = {first, one};
    return best;
  }

  Index changed(Index date, bool alone, Index row) {
    const auto step = likeliest(date, false), slope = likeliest(date, true);
    const bool gradual = slope.second > step.second + 2.0 * std::log(gradual_odds);
    const Index first = gradual ? slope.first : step.first;
    const Level was = before_[static_cast<std::size_t>(first)];
    level_ = was;  // what was before ends here
    end_change();
    begin_ = gradual ? date : first;
    level_ = {s_.expected, nothing_expected(s_.noise)};
    for (Index t = begin_; t <= date; ++t) {
      before_[static_cast<std::size_t>(t)] = level_;
      const Rows read = rows_read(s_.read.row(t));
      take(read, (s_.read(t, read)).transpose());
    }
    begin_sums();
    open_ = true;
    const bool lone = !gradual && date + 1 < n_ && reads_as(was, date + 1);
    if (!lone && is_more_of_it(was, first, date)) {
      course_.changes.back().kind = SeriesChange::Kind::gradual;
      course_.changes.back().last = static_cast<std::size_t>(date);
      return date + 1;
    }
    unsure_before_ = was.unsure;
    SeriesChange change;
    change.kind = gradual                           ? SeriesChange::Kind::gradual
                  : lone                            ? SeriesChange::Kind::lone
                  : first == date && date + 1 == n_ ? SeriesChange::Kind::last_alone
                                                    : SeriesChange::Kind::step;
    change.first = static_cast<std::size_t>(first);
    change.last = change.found = static_cast<std::size_t>(date);
    change.by_one_date = alone;
    change.row = static_cast<std::size_t>(row);
    change.before = was.mean;
    for (Index i = 0; i < change.before.size(); ++i)
      if (!is_known(was, i)) change.before(i) = std::nan("");
    course_.changes.push_back(std::move(change));
    if (lone) {
      end_change();
      level_ = was;
      begin_ = date + 1;
    }
    return date + 1;
  }

  /// Whether readings from `first` on go on changing as they did shortly before: the same way.
  [[nodiscard]] bool is_more_of_it(const Level& was, Index first, Index date) const {
    if (course_.changes.empty()) return false;
    const SeriesChange& last = course_.changes.back();
    using enum SeriesChange::Kind;
    if ((last.kind != step && last.kind != gradual) || date - static_cast<Index>(last.last) > soon_after)
      return false;
    double along = 0.0, one = 0.0, other = 0.0;
    for (const Index i : rows_read(s_.read.row(date))) {
      std::complex<double> mean = 0.0;
      double dates = 0.0;
      for (Index t = first; t <= date; ++t)
        if (is_read(s_.read(t, i))) mean += s_.read(t, i), dates += 1.0;
      const double sd = std::sqrt(s_.noise(i, i).real());
      const std::complex<double> before = (was.mean(i) - last.before(i)) / sd,
                                 now = (mean / dates - was.mean(i)) / sd;
      along += (std::conj(before) * now).real();
      one += std::norm(before);
      other += std::norm(now);
    }
    return along > alike_ways * std::sqrt(one * other);
  }

  /// Whether the next dates, two at most, are nearer to `was` than to the level now.
  [[nodiscard]] bool reads_as(const Level& was, Index date) const {
    double from_was = 0.0, from_now = 0.0;
    int components = 0;
    for (Index t = date; t < std::min(date + 2, n_); ++t) {
      Rows rows;
      for (const Index i : rows_read(s_.read.row(t)))
        if (is_expected(i)) rows.push_back(i);
      const auto off = [&](const Level& level) {
        return squared(scaled(level.unsure(rows, rows) + s_.noise(rows, rows), rows),
                       VectorXcd((s_.read(t, rows)).transpose() - level.mean(rows)));
      };
      from_was += off(was);
      from_now += off(level_);
      components += 2 * static_cast<int>(rows.size());
    }
    return components > 0 && from_was < from_now &&
           chance_of_chi_squared(from_was, components) > hardly_as_before;
  }

  /// What became of the last change, once the level since is known.
  void end_change() {
    if (!std::exchange(open_, false)) return;
    SeriesChange& change = course_.changes.back();
    change.after = level_.mean;
    Rows all;
    for (Index i = 0; i < s_.read.cols(); ++i) {
      all.push_back(i);
      if (!is_expected(i)) change.after(i) = std::nan("");
    }
    change.covariance = scaled(unsure_before_ + level_.unsure, all);
  }

  const DatedSeries& s_;
  Index n_;
  std::vector<Scatter> sensors_, places_;
  double score_limit_ = 0.0;
  std::vector<double> sum_k_, sum_limit_;  ///< by row
  Level level_;
  std::vector<Level> before_;                  ///< what was known before each date
  std::vector<std::array<Cusum, axes>> sums_;  ///< by row
  Index begin_ = 0;                            ///< first date since the last change
  MatrixXcd unsure_before_;                    ///< of the level before the last change
  bool open_ = false;                          ///< the last change is not ended yet
  SeriesCourse course_;
};

}  // namespace

Eigen::MatrixXcd nothing_expected(const MatrixXcd& noise) {
  return MatrixXcd(noise.diagonal().real().cast<std::complex<double>>().asDiagonal()) *
         (not_known * not_known);
}

SeriesCourse judge_course(const DatedSeries& series) { return Course(series).judged(); }

}  // namespace trimwright

#include "course.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <utility>

#include "control_chart.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::VectorXcd;
using Rows = std::vector<Index>;

/// Standard deviations, over those of a reading, of what nobody knows.
constexpr double not_known = 1e3;
/// Of one sound date, half the chance of a series shared among its dates.
constexpr double one_date_chance = 0.5 * false_alarms / sound_dates;
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

/// How far readings of one sensor scatter, squared and over what is stated.
struct Scatter {
  double squares = 0.0;
  double freedom = 0.0;
  bool stated = true;

  [[nodiscard]] bool own() const { return freedom > 0.0 && (!stated || squares > freedom); }
  [[nodiscard]] double factor() const { return own() ? std::sqrt(squares / freedom) : 1.0; }
  [[nodiscard]] double degrees() const { return own() ? freedom : std::numeric_limits<double>::infinity(); }
};

/// The level and how well it is known.
struct Level {
  VectorXcd mean;
  MatrixXcd unsure;
};

class Course {
 public:
  explicit Course(const DatedSeries& series) : s_(series), n_(series.read.rows()) {
    std::size_t groups = 0;
    for (const std::size_t g : s_.group) groups = std::max(groups, g + 1);
    for (std::size_t g = 0; g < groups; ++g) {
      scatter_.push_back({0.0, 0.0, s_.stated});
      if (std::isfinite(s_.freedom)) scatter_.back().squares = scatter_.back().freedom = s_.freedom;
      learn_beginning(g);
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
    course_.scatter.resize(static_cast<Index>(scatter_.size()));
    for (std::size_t g = 0; g < scatter_.size(); ++g)
      course_.scatter(static_cast<Index>(g)) = scatter_[g].factor();
    return std::move(course_);
  }

 private:
  [[nodiscard]] Rows rows_of(std::size_t group, const Rows& among) const {
    Rows rows;
    for (const Index i : among)
      if (s_.group[static_cast<std::size_t>(i)] == group) rows.push_back(i);
    return rows;
  }

  void learn_beginning(std::size_t group) {
    struct Difference {
      double squares;
      int components;
    };
    std::vector<Difference> all;
    Index last = -1;
    std::size_t seen = 0;
    for (Index t = 0; t < n_ && seen < beginning; ++t) {
      const Rows now = rows_of(group, rows_read(s_.read.row(t)));
      if (now.empty()) continue;
      ++seen;
      if (last >= 0) {
        Rows both;
        for (const Index i : now)
          if (is_read(s_.read(last, i))) both.push_back(i);
        if (!both.empty())
          all.push_back({0.5 * squared(s_.noise(both, both),
                                       VectorXcd((s_.read(t, both) - s_.read(last, both)).transpose())),
                         2 * static_cast<int>(both.size())});
      }
      last = t;
    }
    if (all.size() + 1 < fewest_for_scatter) return;
    std::sort(all.begin(), all.end(), [](const auto& a, const auto& b) {
      return a.squares / a.components < b.squares / b.components;
    });
    double squares = 0.0, usual = 0.0, components = 0.0;
    for (std::size_t i = 0; i + 1 < all.size(); ++i) {  // the expected i-th of so many: G. Blom (1958)
      const double rank = (static_cast<double>(i) + 0.625) / (static_cast<double>(all.size()) + 0.25);
      usual += boost::math::quantile(boost::math::chi_squared(all[i].components), rank);
      squares += all[i].squares;
      components += all[i].components;
    }
    Scatter& one = scatter_[group];
    const double freedom = 0.5 * components;  // differences share dates, and the largest is left out
    one.squares += freedom * squares / usual;
    one.freedom += freedom;
  }

  void begin_sums() {
    const auto rows = s_.read.cols();
    sums_.assign(static_cast<std::size_t>(2 * rows), {});
  }

  [[nodiscard]] Eigen::VectorXd factors(const Rows& rows) const {
    Eigen::VectorXd factor(static_cast<Index>(rows.size()));
    for (Index i = 0; i < factor.size(); ++i)
      factor(i) = scatter_[s_.group[static_cast<std::size_t>(rows[static_cast<std::size_t>(i)])]].factor();
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
    compare(now);
    Rows rows;
    for (const Index i : read)
      if (is_expected(i)) rows.push_back(i);
    const VectorXcd off = (s_.read(date, rows)).transpose() - level_.mean(rows);
    const MatrixXcd around = level_.unsure(rows, rows) + s_.noise(rows, rows);
    now.freedom = std::numeric_limits<double>::infinity();
    for (const Index i : rows)
      now.freedom = std::min(now.freedom, scatter_[s_.group[static_cast<std::size_t>(i)]].degrees());
    now.components = 2 * static_cast<int>(rows.size());
    now.t_squared = squared(scaled(around, rows), off);
    const auto highest = add_to_sums(rows, off, around);
    now.cusum = highest.second;
    const bool alone = now.components > 0 && now.t_squared > now.t_squared_limit();
    if (alone || now.cusum > 1.0) return changed(date, alone, highest.first);
    learn_scatter(date, rows);
    take(read, (s_.read(date, read)).transpose());
    return date + 1;
  }

  void compare(DateJudged& now) const {
    now.expected = level_.mean;
    now.sd.resize(s_.read.cols());
    for (Index i = 0; i < now.sd.size(); ++i) {
      const double factor = scatter_[s_.group[static_cast<std::size_t>(i)]].factor();
      now.sd(i) = factor * std::sqrt((level_.unsure(i, i) + s_.noise(i, i)).real());
      if (is_expected(i)) continue;
      now.expected(i) = std::nan("");
      now.sd(i) = std::nan("");
    }
  }

  /// The row whose sum is largest over its limit, and that ratio.
  std::pair<Index, double> add_to_sums(const Rows& rows, const VectorXcd& off, const MatrixXcd& around) {
    std::pair<Index, double> highest{0, 0.0};
    const double charts = 4.0 * static_cast<double>(s_.read.cols());
    for (std::size_t a = 0; a < rows.size(); ++a) {
      const Index i = rows[a], at = static_cast<Index>(a);
      const Scatter& scatter = scatter_[s_.group[static_cast<std::size_t>(i)]];
      const double one = scatter.factor() * std::sqrt(s_.noise(i, i).real());
      const double k = std::clamp(0.5 * s_.to_find(i) / one, 0.5, 1.0);
      const double limit = cusum_limit(k, sound_dates * charts / (0.5 * false_alarms));
      const double sd = scatter.factor() * std::sqrt(around(at, at).real());
      const double size = std::abs(level_.mean(i));
      const std::complex<double> along = size > 0.0 ? level_.mean(i) / size : 1.0;
      const std::complex<double> share = off(at) * std::conj(along) / sd;
      for (int component = 0; component < 2; ++component) {
        Cusum& sum = sums_[static_cast<std::size_t>(2 * i + component)];
        sum.add(normal_score(component == 0 ? share.real() : share.imag(), scatter.degrees()), k);
        if (sum.most() / limit > highest.second) highest = {i, sum.most() / limit};
      }
    }
    return highest;
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

  /// A date that differs much counts as one that differs rarely, so that a change does not pass for scatter.
  void learn_scatter(Index date, const Rows& rows) {
    if (date < static_cast<Index>(beginning)) return;
    for (std::size_t g = 0; g < scatter_.size(); ++g) {
      const Rows mine = rows_of(g, rows);
      if (mine.empty() || scatter_[g].freedom <= 0.0) continue;
      const double components = 2.0 * static_cast<double>(mine.size());
      const double most = boost::math::quantile(boost::math::chi_squared(components), 0.99);
      const double factor = scatter_[g].squares / scatter_[g].freedom;
      const double squares = squared(level_.unsure(mine, mine) + s_.noise(mine, mine),
                                     VectorXcd((s_.read(date, mine)).transpose() - level_.mean(mine)));
      scatter_[g].squares += std::min(squares, most * factor);
      scatter_[g].freedom += components;
    }
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
    change.by_t_squared = alone;
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
           t_squared_chance(from_was, components, std::numeric_limits<double>::infinity()) > hardly_as_before;
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
  std::vector<Scatter> scatter_;
  Level level_;
  std::vector<Level> before_;  ///< what was known before each date
  std::vector<Cusum> sums_;    ///< two a row: along and across what is expected
  Index begin_ = 0;            ///< first date since the last change
  MatrixXcd unsure_before_;    ///< of the level before the last change
  bool open_ = false;          ///< the last change is not ended yet
  SeriesCourse course_;
};

}  // namespace

Eigen::MatrixXcd nothing_expected(const MatrixXcd& noise) {
  return MatrixXcd(noise.diagonal().real().cast<std::complex<double>>().asDiagonal()) *
         (not_known * not_known);
}

double DateJudged::t_squared_limit() const {
  return trimwright::t_squared_limit(components, freedom, one_date_chance);
}

SeriesCourse judge_course(const DatedSeries& series) { return Course(series).judged(); }

}  // namespace trimwright

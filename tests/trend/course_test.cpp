#include "trend/course.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

using namespace trimwright;
using Eigen::Index;

namespace {

/// Two sensors at two speeds; readings of a sensor share part of their scatter.
struct World {
  std::mt19937_64 random;
  double within = 0.01, run_to_run = 0.006;
  double times = 1.0;  ///< how much more than stated they scatter

  std::complex<double> draw(double sd) {
    std::normal_distribution<double> normal(0.0, sd * times);
    const double re = normal(random);
    return {re, normal(random)};
  }

  DatedSeries series(Index dates, bool expected) {
    DatedSeries s;
    s.group = {0, 0, 1, 1};
    s.noise = Eigen::MatrixXcd::Zero(4, 4);
    for (Index i = 0; i < 4; ++i)
      for (Index j = 0; j < 4; ++j)
        if (s.group[static_cast<std::size_t>(i)] == s.group[static_cast<std::size_t>(j)])
          s.noise(i, j) = run_to_run * run_to_run + (i == j ? within * within : 0.0);
    s.to_find = Eigen::VectorXd::Constant(4, 0.06);
    Eigen::VectorXcd level(4);
    level << std::polar(0.1, 1.0), std::polar(0.2, 2.0), std::polar(0.05, -1.0), std::polar(0.15, 3.0);
    s.expected = level;
    s.unsure = nothing_expected(s.noise);
    if (expected) {
      s.unsure = 0.5 * s.noise;
      for (Index i = 0; i < 4; ++i) s.expected(i) += draw(std::sqrt(0.5) * within / times);
    }
    s.read.resize(dates, 4);
    for (Index t = 0; t < dates; ++t) {
      const std::complex<double> shared[] = {draw(run_to_run), draw(run_to_run)};
      for (Index i = 0; i < 4; ++i)
        s.read(t, i) = level(i) + shared[s.group[static_cast<std::size_t>(i)]] + draw(within);
    }
    return s;
  }
};

constexpr double not_read = std::numeric_limits<double>::quiet_NaN();

int scored(const DateJudged& date) {
  int scores = 0;
  for (const auto& score : date.score) scores += std::isnan(score.real()) ? 0 : 1;
  return scores;
}

}  // namespace

TEST_CASE("sound readings raise no alarm, expected or not, scattering as stated, more, or nobody said how") {
  for (const double times : {0.5, 1.0, 2.0, 0.0})
    for (const bool expected : {false, true}) {
      int alarms = 0;
      for (unsigned seed = 1; seed <= 40; ++seed) {
        World world{std::mt19937_64(1000 * seed + 7), 0.01, 0.006, times > 0.0 ? times : 1.0};
        auto series = world.series(200, expected);
        if (times == 0.0) {  // nothing is stated, and what is estimated knows nothing of what readings share
          series.stated = false;
          series.noise = 0.3 * Eigen::MatrixXcd(series.noise.diagonal().asDiagonal());
        }
        alarms += judge_course(series).changes.empty() ? 0 : 1;
      }
      CAPTURE(times);
      CAPTURE(expected);
      CHECK(alarms <= 2);  // 1 in 100: two of 40 with probability 6 %
    }
}

TEST_CASE("a place that scatters twice as much as the others of its sensor raises no alarm for that") {
  int alarms = 0;
  for (unsigned seed = 1; seed <= 40; ++seed) {
    World world{std::mt19937_64(500 * seed + 3)};
    auto series = world.series(200, false);
    for (Index t = 0; t < 200; ++t) series.read(t, 1) += world.draw(0.02);
    alarms += judge_course(series).changes.empty() ? 0 : 1;
  }
  CHECK(alarms <= 3);
}

TEST_CASE("a step is found soon and dated to the day, whether expected or not") {
  for (const bool expected : {false, true}) {
    int found = 0, dated = 0;
    for (unsigned seed = 1; seed <= 50; ++seed) {
      World world{std::mt19937_64(77 * seed)};
      auto s = world.series(60, expected);
      s.read.bottomRows(30).col(1).array() += std::polar(0.06, 0.1 * seed);
      const auto course = judge_course(s);
      if (course.changes.empty()) continue;
      const auto& first = course.changes.front();
      found += first.found >= 30 && first.found < 33 ? 1 : 0;
      dated += first.first == 30 ? 1 : 0;
      if (first.first == 30) {
        CHECK(first.kind == SeriesChange::Kind::step);
        CHECK(std::abs(first.after(1) - first.before(1) - std::polar(0.06, 0.1 * seed)) < 0.02);
      }
    }
    CHECK(found >= 45);  // 9 in 10
    CHECK(dated >= 45);
  }
}

TEST_CASE("a step in the first dates after a trim is found though they also tell the scatter") {
  World world{std::mt19937_64(5)};
  auto s = world.series(12, true);
  s.read.bottomRows(8).col(2).array() += 0.08;
  const auto course = judge_course(s);
  REQUIRE(!course.changes.empty());
  CHECK(course.changes.front().first == 4);
}

TEST_CASE("one date that is off is told as one, and those after it are as expected") {
  World world{std::mt19937_64(6)};
  auto s = world.series(40, false);
  s.read.row(20).array() += 0.09;
  auto course = judge_course(s);
  REQUIRE(course.changes.size() == 1);
  CHECK(course.changes[0].kind == SeriesChange::Kind::lone);
  CHECK(course.changes[0].first == 20);
  CHECK(course.changes[0].last == 20);
  s.read.conservativeResize(21, Eigen::NoChange);
  course = judge_course(s);
  REQUIRE(course.changes.size() == 1);
  CHECK(course.changes[0].kind == SeriesChange::Kind::last_alone);
}

TEST_CASE("what grows little by little is told as that, once") {
  World world{std::mt19937_64(8)};
  auto s = world.series(60, false);
  for (Index t = 30; t < 60; ++t) s.read.row(t).array() += 0.004 * static_cast<double>(t - 29);
  const auto course = judge_course(s);
  REQUIRE(!course.changes.empty());
  CHECK(course.changes.front().kind == SeriesChange::Kind::gradual);
  CHECK(course.changes.front().first >= 27);
  CHECK(course.changes.front().first <= 38);
}

TEST_CASE("a sensor that was not read takes no part, and one that begins later is expected from then on") {
  World world{std::mt19937_64(9)};
  auto s = world.series(40, false);
  s.read.topRows(20).rightCols(2).setConstant(not_read);
  s.read.row(30).setConstant(not_read);
  const auto course = judge_course(s);
  CHECK(course.changes.empty());
  CHECK(scored(course.dates[0]) == 0);
  CHECK(scored(course.dates[1]) == 2);
  CHECK(std::isnan(course.dates[19].sd(2)));
  CHECK(scored(course.dates[25]) == 4);
  CHECK(scored(course.dates[30]) == 0);
}

TEST_CASE("a reading far off hardly counts for more scatter the farther it is off") {
  Eigen::VectorXd scatter[2];
  for (const int more : {0, 1}) {
    World world{std::mt19937_64(4)};
    auto s = world.series(30, true);
    const auto mean = s.read.col(1).head(29).mean();
    s.read(29, 1) = mean + (more == 0 ? 0.042 : 0.050);  // 3.5 and 4.2 standard deviations
    const auto course = judge_course(s);
    CHECK(course.changes.empty());
    CHECK(std::abs(course.dates.back().score(1)) > 3.03);
    scatter[more] = course.scatter;
  }
  CHECK((scatter[1] - scatter[0]).norm() < 0.004);  // uncut the squares would grow by 5 of some 70: 0.02
}

TEST_CASE("scores are standard normal, date by date, and say nothing of each other") {
  for (const bool stated : {false, true}) {
    double squares = 0.0, fourth = 0.0, beside = 0.0, scores = 0.0;
    for (unsigned seed = 1; seed <= 60; ++seed) {
      World world{std::mt19937_64(seed), 0.01, 0.006, stated ? 1.0 : 1.7};
      auto series = world.series(30, !stated);
      series.stated = stated;
      const auto course = judge_course(series);
      for (std::size_t t = 2; t < course.dates.size(); ++t) {
        const auto score = course.dates[t].score(0), before = course.dates[t - 1].score(0);
        squares += std::norm(score);
        fourth += std::norm(score) * std::norm(score);
        beside += (score * std::conj(before)).real();
        scores += 1.0;
      }
    }
    CAPTURE(stated);
    CHECK(squares / scores == doctest::Approx(2.0).epsilon(0.08));  // its standard error is 2.4 %
    CHECK(fourth / scores == doctest::Approx(8.0).epsilon(0.2));
    CHECK(std::abs(beside / scores) < 0.15);
  }
}

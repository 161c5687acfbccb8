#include "trimwright/job.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Runs with nothing changed, one sensor with limit 1 mil and target 0.2, one reading each.
Job repeated(const std::vector<Shown>& shown, std::optional<double> repeatability = 0.01) {
  Rotor rotor = free_rotor({"fan"}, {"A"});
  rotor.sensors[0].bands[0].target = 0.2;
  rotor.sensors[0].repeatability = repeatability;
  std::vector<Run> runs;
  for (const Shown& one : shown)
    runs.push_back(run_of(rotor, "run " + std::to_string(runs.size() + 1), {{}}, {one}));
  return job_of(rotor, runs);
}

const ReadinessFinding& first(const Readiness& readiness, ReadinessConcern concern) {
  for (const auto& one : readiness.findings)
    if (one.concern == concern) return one;
  FAIL("no such finding");
  return readiness.findings.front();
}

}  // namespace

TEST_CASE("Runs that repeat are ready, and a rotor below its targets needs no trim") {
  const auto steady = readiness(repeated({{0.5, 40}, {0.52, 42}}));
  CHECK(steady.ready());
  CHECK(steady.findings.empty());
  CHECK(steady.repeated);
  const auto calm = readiness(repeated({{0.15, 40}, {0.14, 42}}));
  CHECK_FALSE(calm.ready());
  CHECK(first(calm, ReadinessConcern::below_target).ratio == doctest::Approx(0.7));
}

TEST_CASE("One run alone is ready with care, and a level above its limit is told") {
  const auto found = readiness(repeated({{1.3, 40}}));
  CHECK(found.ready());
  CHECK(found.has(ReadinessConcern::no_repeat));
  CHECK(first(found, ReadinessConcern::above_limit).ratio == doctest::Approx(1.3));
}

TEST_CASE("Runs with the same weights that differ are no base for a trim; small readings do not matter") {
  const auto apart = readiness(repeated({{0.5, 40}, {0.5, 80}}));
  CHECK_FALSE(apart.ready());
  const auto& finding = first(apart, ReadinessConcern::does_not_repeat);
  CHECK(finding.ratio == doctest::Approx(2.0 * std::sin(20.0 * 3.14159265358979 / 180.0)));
  CHECK(std::abs(finding.turn_deg) == doctest::Approx(40.0));
  CHECK(readiness(repeated({{0.1, 40}, {0.1, 80}})).findings.size() == 1);   // below target only
  CHECK(readiness(repeated({{0.5, 40}, {0.5, 80}}, 0.1)).findings.empty());  // within the repeatability
  Job aside = repeated({{0.5, 40}, {0.5, 80}, {0.51, 41}});
  aside.runs[1].set_aside = "gusts";
  CHECK(readiness(aside).ready());
}

TEST_CASE("A change that goes one way through three runs is a drift, one that comes back is not") {
  CHECK(readiness(repeated({{0.4, 40}, {0.5, 45}, {0.6, 50}})).has(ReadinessConcern::drifts));
  CHECK(readiness(repeated({{0.4, 40}, {0.6, 45}, {0.4, 40}})).has(ReadinessConcern::does_not_repeat));
}

TEST_CASE("The share of the once-per-rev component is judged where an overall level stands beside it") {
  Job job = repeated({{0.5, 40}, {0.5, 40}});
  CHECK_FALSE(readiness(job).overall_read);
  Reading overall = job.runs[1].readings[0];
  overall.component = Component::overall;
  overall.x.reset();
  overall.amplitude = 0.9;
  job.runs[1].readings.push_back(overall);
  const auto mostly = readiness(job);
  CHECK(mostly.overall_read);
  CHECK(first(mostly, ReadinessConcern::mostly_other).ratio == doctest::Approx(0.5 / 0.9));
  job.runs[1].readings.back().amplitude = 0.52;
  CHECK(readiness(job).ready());
  job.runs[1].readings.back().amplitude = 0.3;
  CHECK(first(readiness(job), ReadinessConcern::more_than_all).ratio == doctest::Approx(0.5 / 0.3));
}

TEST_CASE("Scatter within a dwell, a missing phase and a reading lost in noise are told") {
  Job job = repeated({{0.5, 40}, {0.5, 40}});
  job.runs[0].readings[0].repeatability = 0.03;
  job.runs[1].readings[0].x.reset();
  const auto found = readiness(job);
  CHECK(found.scatter_stated);
  CHECK(first(found, ReadinessConcern::scatters_within).ratio == doctest::Approx(3.0));
  CHECK(first(found, ReadinessConcern::no_phase).runs == std::vector<std::size_t>{1});
  CHECK(readiness(repeated({{0.5, 40}, {0.5, 40}}, 0.2)).has(ReadinessConcern::too_small));
}

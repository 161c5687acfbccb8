#include "trimwright/job.hpp"

#include <doctest/doctest.h>

#include <algorithm>
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

TEST_CASE("One run alone is ready with care; above a limit nothing is, before it was inspected") {
  CHECK(readiness(repeated({{0.9, 40}})).ready());
  const auto found = readiness(repeated({{1.3, 40}}));
  CHECK_FALSE(found.ready());
  CHECK(found.findings.front().concern == ReadinessConcern::above_limit);
  CHECK(found.has(ReadinessConcern::no_repeat));
  CHECK(first(found, ReadinessConcern::above_limit).ratio == doctest::Approx(1.3));
}

TEST_CASE("What is only assumed of the rotor holds a trim up; an earlier run above a limit is told") {
  Job job = repeated({{1.3, 40}, {0.5, 40}, {0.5, 40}});
  job.runs.front().name = "trial";
  CHECK(first(readiness(job), ReadinessConcern::went_above_limit).ratio == doctest::Approx(1.3));
  CHECK_FALSE(holds_up(ReadinessConcern::went_above_limit));
  CHECK_FALSE(readiness(job).has(ReadinessConcern::above_limit));
  job = repeated({{0.5, 40}, {0.5, 40}});
  job.rotor.to_confirm = {"teeth", "slot 1"};
  const auto open = readiness(job);
  CHECK_FALSE(open.ready());
  CHECK(first(open, ReadinessConcern::to_confirm).what == "teeth, slot 1");
  CHECK_FALSE(readiness(repeated({{0.5, 40}, {0.5, 40}})).has(ReadinessConcern::went_above_limit));
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
  add_overall(job.runs[1], 0.9);
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

namespace {

/// As found with w1 in slot 1; a trial with w2 in slot 5 beside it.
Job tried() {
  Rotor rotor = free_rotor({}, {"A"});
  rotor.planes.push_back(slotted_plane("spinner", 8, {100.0, 200.0}));
  rotor.sensors[0].repeatability = 0.01;
  rotor.sensors[0].bands[0].target = 0.35;
  FittedWeights first, then;
  first.slots[1] = then.slots[1] = {"w1", 100.0};
  then.slots[5] = {"w2", 200.0};
  return job_of(rotor, {single_plane_rotor().run(rotor, "as found", {first}),
                        single_plane_rotor().run(rotor, "trial", {then})});
}

}  // namespace

TEST_CASE("What is fitted now is judged, not the last run") {
  Job job = tried();
  job.runs[1].readings[0].x = 0.3;
  job.runs[1].readings[0].amplitude = 0.3;  // the trial met its target, and was taken out again
  const auto out_again = readiness(job);
  CHECK(out_again.judged == 0);
  CHECK_FALSE(out_again.has(ReadinessConcern::below_target));
  job.fitted_now = job.runs[1].fitted;
  CHECK(readiness(job).has(ReadinessConcern::below_target));
  job.fitted_now[0].slots[3] = {"w1", 100.0};  // never run so
  CHECK_FALSE(readiness(job).judged.has_value());
  CHECK_FALSE(readiness(job).has(ReadinessConcern::below_target));
}

TEST_CASE("A job without readings is not ready, and a run without any is asked after") {
  Job job = tried();
  job.runs[1].readings.push_back(job.runs[0].readings[0]);
  std::swap(job.runs[0].readings, job.runs[1].readings);
  job.runs[1].readings.clear();
  CHECK(first(readiness(job), ReadinessConcern::doubled_readings).runs == std::vector<std::size_t>{0, 1});
  job.runs[0].readings.pop_back();
  CHECK(first(readiness(job), ReadinessConcern::unread_run).runs == std::vector<std::size_t>{1});
  job.runs[0].readings.clear();
  const auto none = readiness(job);
  CHECK_FALSE(none.ready());
  CHECK(none.has(ReadinessConcern::no_readings));
}

TEST_CASE("Two readings of one place in one run that no scatter explains are told") {
  Job job = tried();
  Reading again = job.runs[0].readings[0];
  again.x = *again.x + Phasor(0.02);
  job.runs[0].readings.push_back(again);
  CHECK_FALSE(readiness(job).has(ReadinessConcern::contradicts));
  job.runs[0].readings.back().x = Phasor(0.1, 0.3);
  CHECK(first(readiness(job), ReadinessConcern::contradicts).runs == std::vector<std::size_t>{0});
}

TEST_CASE("A speed of one run alone, a digit away from one that it lacks, may be mistyped") {
  Job job = tried();
  for (auto& run : job.runs) {
    Reading fast = run.readings[0];
    fast.rpm = 3706.0;
    run.readings.push_back(fast);
  }
  CHECK_FALSE(readiness(settled(job)).has(ReadinessConcern::lone_speed));
  job.runs[1].readings[1].rpm = 3076.0;
  const auto found = first(readiness(settled(job)), ReadinessConcern::lone_speed);
  CHECK(found.runs == std::vector<std::size_t>{1});
  CHECK(found.what == "3706 rpm");
}

TEST_CASE(
    "A reading that new weights moved far more than the speeds beside it, and no other sensor so, may be "
    "mistyped") {
  const auto made = [](double phase_of_b, double phase_of_a) {
    JobBuilder job("fan", PhaseConvention::lead);
    job.plane("front").sensor("A", "mm/s peak", 10.0).sensor("B", "mm/s peak", 10.0);
    job.run("as found");
    for (const double rpm : {2000.0, 3000.0, 4000.0})
      job.read("A", rpm, 5.0, 10.0).read("B", rpm, 4.0, 110.0);
    job.run("trial").fit("front", 1000.0, 30.0);
    for (const double rpm : {2000.0, 3000.0, 4000.0}) {
      const bool middle = rpm == 3000.0;
      job.read("A", rpm, 5.5, middle ? phase_of_a : 12.0).read("B", rpm, 4.4, middle ? phase_of_b : 108.0);
    }
    return readiness(job.job().value());
  };
  CHECK_FALSE(made(108.0, 12.0).has(ReadinessConcern::odd_effect));
  const auto found = first(made(10.0, 12.0), ReadinessConcern::odd_effect);
  CHECK(found.speed == 1);
  CHECK(found.sensor == 1);
  CHECK(found.runs == std::vector<std::size_t>{1});
  CHECK(found.ratio > 8.0);
  CHECK_FALSE(made(10.0, 120.0).has(ReadinessConcern::odd_effect));  // a resonance moves both
}

TEST_CASE("A speed mistyped for a whole run is asked after once, not for every sensor") {
  Rotor rotor = free_rotor({"fan"}, {"A", "B"});
  std::vector<Run> runs;
  for (const double rpm : {3706.0, 3076.0}) {
    Run run = run_of(rotor, "run " + std::to_string(runs.size() + 1), {{}}, {{0.5, 40}, {0.4, 50}});
    for (std::size_t s = 0; s < 2; ++s) run.readings.push_back(reading_of(rotor, s, {0.6, 60}, 1, rpm));
    runs.push_back(run);
  }
  const auto found = readiness(job_of(rotor, runs));
  std::vector<std::size_t> of_runs;
  for (const auto& one : found.findings) {
    if (one.concern != ReadinessConcern::lone_speed) continue;
    of_runs.push_back(one.runs.front());
    CHECK_FALSE(one.sensor.has_value());
  }
  std::sort(of_runs.begin(), of_runs.end());
  CHECK(of_runs == std::vector<std::size_t>{0, 1});
}

TEST_CASE("A job says which conditions matter: those must be alike in every run, and no others") {
  Job job = tried();
  job.conditions_that_matter = {"warm-up"};
  job.runs[0].conditions.other = {{"warm-up", "5 min"}, {"wind", "calm"}};
  job.runs[1].conditions.other = {{"warm-up", "5 min"}, {"wind", "20 kn"}};
  CHECK_FALSE(readiness(job).has(ReadinessConcern::other_conditions));
  job.runs[1].conditions.other = {{"warm-up", "6 min"}, {"wind", "calm"}};
  CHECK(first(readiness(job), ReadinessConcern::other_conditions).what == "warm-up: 5 min and 6 min");
  job.runs[1].conditions.other = {{"wind", "calm"}};
  CHECK(first(readiness(job), ReadinessConcern::other_conditions).what == "warm-up is not said");
}

TEST_CASE("A run that adds a piece and lists those as found no more is asked after") {
  Job job = tried();
  CHECK_FALSE(readiness(job).has(ReadinessConcern::no_longer_listed));
  job.runs[1].fitted[0].slots.erase(1);
  CHECK(first(readiness(job), ReadinessConcern::no_longer_listed).what == "w1 in spinner slot 1");
}

TEST_CASE("A trial weight counts as fitted where nothing says otherwise, and that is said") {
  Job job = tried();
  CHECK_FALSE(readiness(job).has(ReadinessConcern::trial_weight_in));
  job.fitted_now = job.runs[1].fitted;
  job.fitted_now_stated = false;
  CHECK(readiness(job).has(ReadinessConcern::trial_weight_in));
}

TEST_CASE("A check run whose weights are not said to be fitted now is asked after; a trial run is not") {
  Job job = tried();
  FittedWeights chosen;
  chosen.slots[4] = {"w1", 100.0};
  job.runs[1].name = "with w2";  // the first to change the plane, and out again: a trial by another name
  CHECK_FALSE(readiness(job).has(ReadinessConcern::not_fitted_now));
  job.runs.push_back(single_plane_rotor().run(job.rotor, "check run", {chosen}));
  const auto found = readiness(job);
  CHECK(first(found, ReadinessConcern::not_fitted_now).runs == std::vector<std::size_t>{2});
  CHECK(found.ready());  // it asks for care alone
  job.runs.back().name = "second trial";
  CHECK_FALSE(readiness(job).has(ReadinessConcern::not_fitted_now));
  job.runs.back().name = "check run";
  job.fitted_now = {chosen};
  CHECK_FALSE(readiness(job).has(ReadinessConcern::not_fitted_now));
}

TEST_CASE("Runs as many as the unknowns hold no reading to account, and that is said") {
  Job job = tried();
  CHECK(first(readiness(job), ReadinessConcern::nothing_spare).ratio == 2.0);
  job.small_residual = true;  // the job supposes what checks them
  CHECK_FALSE(readiness(job).has(ReadinessConcern::nothing_spare));
  job.small_residual = false;
  job.runs.push_back(job.runs.front());
  job.runs.back().name = "repeat";
  CHECK_FALSE(readiness(job).has(ReadinessConcern::nothing_spare));
  job.runs.resize(1);
  CHECK_FALSE(readiness(job).has(ReadinessConcern::nothing_spare));  // no plane was tried yet
}

TEST_CASE("Runs made under other conditions, or months apart, are told") {
  Job job = tried();
  job.runs[0].conditions = {"2031-03-04 08:15", "", {{"wind", "4 kt on the nose"}}};
  job.runs[1].conditions = {"2031-03-04 09:15", "", {{"wind", "6 kt on the nose"}}};
  CHECK_FALSE(readiness(job).has(ReadinessConcern::other_conditions));
  job.runs[0].conditions = {"2031-03-04 08:15", "", {{"wind", "calm"}}};
  job.runs[1].conditions = {"2031-03-05", "", {{"wind", "calm"}}};
  CHECK_FALSE(readiness(job).has(ReadinessConcern::other_conditions));
  job.runs[1].conditions.other = {{"wind", "20 kn from ahead"}};
  CHECK(first(readiness(job), ReadinessConcern::other_conditions).what == "wind: calm and 20 kn from ahead");
  job.runs[1].conditions = {"2031-09-05", "", {{"wind", "calm"}}};
  CHECK(first(readiness(job), ReadinessConcern::other_conditions).what == "185 days apart");
}

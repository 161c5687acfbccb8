#include "trimwright/check.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"
#include "some.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const KnownRotor known{{Phasor(0.5, 0.2), Phasor(-0.3, 0.4)}, {{Phasor(1e-3, 0.0)}, {Phasor(2e-4, 6e-4)}}};

Rotor slotted_rotor() {
  Rotor rotor = free_rotor({}, {"A", "B"});
  rotor.mass_kg = 100.0;
  rotor.planes.push_back(slotted_plane("spinner", 12, {100.0, 300.0, 500.0}));
  for (auto& sensor : rotor.sensors) {
    sensor.repeatability = 0.004;
    sensor.bands = {{10000.0, 1.0, 0.3}};
  }
  return rotor;
}

FittedWeights with(std::vector<std::pair<int, std::string>> pieces, const Plane& plane) {
  FittedWeights fitted;
  for (const auto& [slot, id] : pieces) fitted.slots[slot] = {id, plane.find_weight(id)->moment_g_mm};
  return fitted;
}

/// Baseline, a trial, and a check run with `meant` on the list and `really` on the rotor.
Job job_with_check(const std::vector<std::pair<int, std::string>>& meant,
                   const std::vector<std::pair<int, std::string>>& really) {
  const Rotor rotor = slotted_rotor();
  const Plane& plane = rotor.planes[0];
  Job job = job_of(rotor, {known.run(rotor, "baseline", {{}}),
                           known.run(rotor, "trial", {with({{1, "w1"}, {4, "w2"}}, plane)}),
                           known.run(rotor, "check", {with(really, plane)})});
  job.runs.back().fitted = {with(meant, plane)};
  job.fitted_now = job.runs.back().fitted;
  return job;
}

const std::vector<std::pair<int, std::string>> good{{7, "w3"}, {8, "w1"}};

Verdict verdict_of(const Job& job) {
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  return judged->verdict;
}

}  // namespace

TEST_CASE("A check run that does what the list says is accepted as predicted") {
  const auto verdict = verdict_of(job_with_check(good, good));
  CHECK(verdict.outcome == Outcome::accepted);
  CHECK(verdict.mistakes.as_predicted());
  REQUIRE(verdict.readings.size() == 2);
  for (const auto& one : some(verdict.readings)) {
    CHECK(one.expected_sd.value() > 0.004);  // the reading's own noise, and what the model does not know
    CHECK(one.off_by_sd().value() < 1e-6);
    CHECK(one.first.value() > 0.0);
  }
  REQUIRE(verdict.refined);
  CHECK(verdict.refined->runs.used.size() == 3);
}

TEST_CASE(
    "A run below its limits that is not as predicted is accepted with that remark, and nothing is planned") {
  const auto verdict = verdict_of(job_with_check(good, {{6, "w3"}, {7, "w1"}}));
  CHECK(verdict.outcome == Outcome::accepted_not_as_predicted);
  CHECK(verdict.advice == Advice::look_first);
  CHECK_FALSE(verdict.next.has_value());
  CHECK_FALSE(verdict.refined.has_value());
  const auto& kinds = verdict.mistakes.kinds;
  const auto named = kinds.begin() + static_cast<std::ptrdiff_t>(verdict.mistakes.not_told_apart);
  CHECK(std::any_of(kinds.begin(), named, [](const auto& one) { return one.kind == MistakeKind::shifted; }));
}

TEST_CASE("One reading above its limit, of whatever component, is not accepted") {
  Job job = job_with_check(good, good);
  add_overall(job.runs.back(), 1.01);
  CHECK(verdict_of(job).outcome == Outcome::not_accepted);
  job.runs.back().readings.back().amplitude = 0.99;
  CHECK(verdict_of(job).outcome == Outcome::accepted);
}

TEST_CASE("A reading off its set speed may differ by as much more as the speed explains") {
  const auto readings_at = [](double check_rpm) {
    Job job = job_with_check(good, good);
    for (Run& run : job.runs) {
      const auto here = run.readings;
      for (Reading far : here) {
        far.rpm = 3600.0;
        far.x = *far.x * Phasor(1.5, 0.5);
        far.amplitude = std::abs(*far.x);
        run.readings.push_back(far);
      }
    }
    job = job_of(job.rotor, job.runs);
    for (std::size_t s = 0; s < 2; ++s) job.runs.back().readings[s].rpm = check_rpm;
    return verdict_of(job).readings;
  };
  const auto on = readings_at(3000.0);
  const auto off = readings_at(3025.0);
  REQUIRE(on.size() == 4);
  REQUIRE(off.size() == 4);
  for (std::size_t i = 0; i < 2; ++i) {
    REQUIRE(on[i].expected_sd);
    REQUIRE(off[i].expected_sd);
    const Phasor x = *on[i].x;
    const double by_speed = 25.0 * std::abs(x * Phasor(0.5, 0.5)) / 575.0;
    REQUIRE(by_speed > 0.01 * *on[i].expected_sd);
    CHECK(*off[i].expected_sd == doctest::Approx(std::hypot(*on[i].expected_sd, by_speed)).epsilon(1e-9));
    CHECK(*off[i].differs_by ==
          doctest::Approx(*on[i].differs_by * *off[i].expected_sd / *on[i].expected_sd).epsilon(1e-9));
  }
}

TEST_CASE("A reading that earlier runs have and the check run lacks keeps it from being accepted") {
  Job job = job_with_check(good, good);
  job.runs.back().readings.pop_back();
  const auto verdict = verdict_of(job);
  REQUIRE(verdict.missing.size() == 1);
  CHECK(verdict.missing[0].sensor == 1);
  CHECK(verdict.outcome == Outcome::not_accepted);
  CHECK(verdict.advice == Advice::read_again);
}

TEST_CASE("A sensor that failed in every run before is asked of the check run, as the plan asks for it") {
  Job job = job_with_check(good, good);
  for (std::size_t r = 0; r < 3; ++r) {
    job.runs[r].readings.pop_back();
    if (r < 2) job.runs[r].missing.push_back({3000.0, 1, "cable"});
  }
  job = settled(job);
  const auto verdict = verdict_of(job);
  const auto wanted = places_to_run(job_before(job, 2));
  REQUIRE(wanted.size() == 2);
  REQUIRE(verdict.missing.size() == 1);
  CHECK(verdict.missing[0].sensor == 1);
  CHECK(verdict.outcome == Outcome::not_accepted);
}

TEST_CASE("Above its target, another trim is planned from all runs, the check run among them") {
  const std::vector<std::pair<int, std::string>> weak{{7, "w1"}};
  const auto verdict = verdict_of(job_with_check(weak, weak));
  CHECK(verdict.outcome == Outcome::accepted);
  CHECK(verdict.advice == Advice::may_trim_again);
  REQUIRE(verdict.next);
  CHECK(verdict.next->worst_ratio < verdict.worst_ratio);
}

TEST_CASE("Another trim that would gain nothing is advised against") {
  Job job = job_with_check(good, good);
  for (auto& sensor : job.rotor.sensors) sensor.bands = {{10000.0, 1.0, 1e-6}};
  job = settled(job);
  job.rotor.planes[0].weights.resize(1);  // what is fitted stays the best that can be had
  job.rotor.planes[0].weights[0].stock = 1;
  Job kept = job;
  TrimRequest request;
  request.keep_fitted = true;
  const auto judged = judge_job(kept, request);
  REQUIRE(judged);
  CHECK(judged->verdict.advice == Advice::stop_no_gain);
}

TEST_CASE("Another trim that would gain little is advised against") {
  Job job = job_with_check(good, good);
  for (auto& sensor : job.rotor.sensors) sensor.bands = {{10000.0, 1.0, 1e-6}};
  job = settled(job);
  job.rotor.planes[0].weights = slotted_plane("", 12, {10.0}).weights;
  job.rotor.planes[0].weights[0].id = "light";
  job.rotor.planes[0].weights[0].stock = 1;
  TrimRequest request;
  request.keep_fitted = true;
  request.pieces = 1;
  const auto judged = judge_job(job, request);
  REQUIRE(judged);
  const auto& verdict = judged->verdict;
  REQUIRE(verdict.next);
  CHECK(verdict.next->trade_off[verdict.next->chosen].changes.size() == 1);
  CHECK(verdict.next->worst_ratio < verdict.worst_ratio);
  CHECK(verdict.advice == Advice::stop_no_gain);
}

TEST_CASE("The next trim starts from what is fitted now, where that was changed after the check run") {
  const std::vector<std::pair<int, std::string>> weak{{7, "w1"}};
  Job job = job_with_check(weak, weak);
  job.fitted_now = job.runs.front().fitted;  // w1 was taken out again
  const auto verdict = verdict_of(job);
  REQUIRE(verdict.next);
  REQUIRE(verdict.next->predictions.size() == 2);
  for (const auto& one : verdict.next->predictions) CHECK(std::abs(one.before - known.x0[one.sensor]) < 1e-9);
}

TEST_CASE("A run foretold so loosely that a wrong slot would pass is not plainly accepted") {
  Job job = job_with_check(good, good);
  CHECK_FALSE(looseness(verdict_of(job)).has_value());
  CHECK(verdict_words(verdict_of(job)).starts_with("ACCEPTED: "));
  for (auto& sensor : job.rotor.sensors) sensor.repeatability = 0.1;  // of a target of 0.3
  const auto loose = verdict_of(job);
  CHECK(loose.outcome == Outcome::accepted);
  CHECK(looseness(loose).value() > 0.5);
  CHECK(verdict_words(loose).starts_with("ACCEPTED, BUT THIS SAYS LITTLE OF THE WEIGHTS: "));
}

TEST_CASE("Readings far closer to what was expected than is stated say that too much scatter is stated") {
  const auto told = [](const Job& job, const std::string& words) {
    const auto all = advice_words(job, verdict_of(job));
    return std::any_of(all.begin(), all.end(), [&](const auto& one) { return one.find(words) != one.npos; });
  };
  Job job = job_with_check(good, good);  // without any scatter
  CHECK(told(job, "is much too large"));
  job.runs.back().readings[0].x = *job.runs.back().readings[0].x + 0.006;
  CHECK_FALSE(told(job, "is much too large"));
}

TEST_CASE("A reading that differs in a run that is as predicted is named") {
  Rotor rotor = free_rotor({}, {"A", "B", "C", "D", "E", "F", "G", "H"});
  rotor.planes.push_back(slotted_plane("spinner", 12, {100.0, 300.0, 500.0}));
  KnownRotor eight;
  for (auto& sensor : rotor.sensors) {
    sensor.repeatability = 0.004;
    eight.x0.push_back({0.5, 0.1});
    eight.c.push_back({Phasor(1e-3, 0.0)});
  }
  Job job = job_of(rotor, {eight.run(rotor, "baseline", {{}}),
                           eight.run(rotor, "trial", {with({{1, "w3"}}, rotor.planes[0])}),
                           eight.run(rotor, "check", {with({{7, "w3"}}, rotor.planes[0])})});
  job.fitted_now = job.runs.back().fitted;
  auto& readings = job.runs.back().readings;
  const auto before = verdict_of(job);
  readings[5].x = *readings[5].x + 1.02 * *before.readings[5].differs_by;
  readings[5].amplitude = std::abs(*readings[5].x);
  const auto verdict = verdict_of(job);
  REQUIRE(verdict.outcome == Outcome::accepted);
  REQUIRE(verdict.readings[5].differs());
  const auto words = advice_words(job, verdict);
  CHECK(std::any_of(words.begin(), words.end(), [](const auto& one) {
    return one.find("1 of its 8 readings differs: F at 3000 rpm") != one.npos;
  }));
}

TEST_CASE("Readings that neither unbalance nor a mistake explains end the trimming") {
  Rotor rotor = free_rotor({}, {"A", "B", "C", "D"});
  rotor.planes.push_back(slotted_plane("spinner", 12, {100.0, 300.0, 500.0}));
  for (auto& sensor : rotor.sensors) sensor.repeatability = 0.004;
  const KnownRotor four{
      {Phasor(0.5, 0.2), Phasor(-0.3, 0.4), Phasor(0.3, 0.3), Phasor(0.2, -0.5)},
      {{Phasor(1e-3, 0.0)}, {Phasor(2e-4, 6e-4)}, {Phasor(0.0, 5e-4)}, {Phasor(4e-4, 4e-4)}}};
  Job job = job_of(rotor, {four.run(rotor, "baseline", {{}}),
                           four.run(rotor, "trial", {with({{1, "w2"}}, rotor.planes[0])}),
                           four.run(rotor, "check", {with({{7, "w3"}}, rotor.planes[0])})});
  job.fitted_now = job.runs.back().fitted;
  const Phasor strange[] = {{0.3, -0.2}, {-0.25, -0.2}, {0.1, 0.35}, {-0.3, 0.1}};
  for (std::size_t i = 0; i < 4; ++i) *job.runs.back().readings[i].x += strange[i];
  for (auto& one : job.runs.back().readings) one.amplitude = std::abs(*one.x);
  const auto verdict = verdict_of(job);
  CHECK(verdict.mistakes.kinds.front().kind == MistakeKind::none_of_these);
  CHECK(verdict.advice == Advice::stop_not_unbalance);
}

TEST_CASE("Without a known repeatability the run is judged by its limits alone, and says so") {
  Job job = job_with_check(good, good);
  for (auto& sensor : job.rotor.sensors) sensor.repeatability.reset();
  const auto verdict = verdict_of(job);
  CHECK(verdict.outcome == Outcome::accepted);
  CHECK_FALSE(verdict.not_predicted.empty());
  CHECK(verdict.mistakes.kinds.empty());
}

TEST_CASE("The check run is the last run or the one named, and must be one that can be judged") {
  Job job = job_with_check(good, good);
  CHECK(find_check_run(job).value() == 2);
  CHECK(find_check_run(job, "trial").value() == 1);
  CHECK_FALSE(find_check_run(job, "baseline"));
  CHECK_FALSE(find_check_run(job, "no such run"));
  job.runs.back().set_aside = "wind";
  CHECK_FALSE(find_check_run(job));
  job.runs.back().set_aside.reset();
  job.runs.back().readings.clear();
  CHECK_FALSE(find_check_run(job));
  job.runs.resize(1);
  CHECK_FALSE(find_check_run(job));
}

TEST_CASE("A trial run that is the last is judged only where it is named: there is no check run yet") {
  Job job = job_with_check({{7, "w2"}}, {{7, "w2"}});
  job.runs.resize(2);
  job.fitted_now = job.runs.back().fitted;
  const auto judged = judge_job(job, {});
  REQUIRE_FALSE(judged);
  CHECK(judged.error().what.starts_with("there is no check run yet: run \"" + job.runs.back().name +
                                        "\", the last one, looks like a trial run"));
  const auto named = judge_job(job, {}, job.runs.back().name);
  CHECK((named || !named.error().what.starts_with("there is no check run yet")));
}

TEST_CASE("A trial run is told from a check run by its name, or by weights that were taken out again") {
  Job job = job_with_check({{7, "w2"}}, {{7, "w2"}});
  job.fitted_now = job.runs.back().fitted;
  CHECK(trial_signs(job, 2).empty());
  CHECK(trial_signs(job, 1) ==
        "its name says so, and no run before it changed the weights in plane \"spinner\"");
  CHECK(trial_signs(job, 1, true) == "its name says so");  // a fleet's prior tells how the plane acts
  job.runs.back().name = "Second Trial";
  CHECK(trial_signs(job, 2) == "its name says so");
  CHECK_FALSE(taken_out_again(job, 2));
  job.fitted_now = job.runs.front().fitted;
  CHECK(taken_out_again(job, 2));
  CHECK_FALSE(taken_out_again(job, 1));  // not the last
  job.fitted_now = job.runs.back().fitted;
  job.fitted_now[0].free.push_back({50.0, RotorAngle{}});
  CHECK(taken_out_again(job, 2));
}

TEST_CASE("A blade exchanged with known figures tells how its plane acts: a run after it is no first trial") {
  Job job = job_with_check(good, good);
  job.runs[1].fitted = job.runs[0].fitted;
  CHECK(trial_signs(job, 2) == "no run before it changed the weights in plane \"spinner\"");
  job.runs[1].changes.push_back({0, 200.0, {}});
  CHECK(trial_signs(job, 2).empty());
}

#include <doctest/doctest.h>

#include <algorithm>

#include "check/run_comparison.hpp"
#include "forecast/outlook.hpp"
#include "job_builder.hpp"
#include "trimwright/check.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

using Pieces = std::vector<std::pair<int, std::string>>;

/// Six sensors at one speed, and how they answer a unit of unbalance in the one plane.
const KnownRotor six{
    {{0.5, 0.2}, {-0.3, 0.4}, {0.3, 0.3}, {0.2, -0.5}, {-0.4, -0.1}, {0.1, 0.6}},
    {{{1e-3, 0.0}}, {{2e-4, 6e-4}}, {{0.0, 5e-4}}, {{4e-4, 4e-4}}, {{-5e-4, 3e-4}}, {{-2e-4, -7e-4}}}};

Rotor six_sensor_rotor() {
  Rotor rotor = free_rotor({}, {"A", "B", "C", "D", "E", "F"});
  rotor.mass_kg = 100.0;
  rotor.planes.push_back(slotted_plane("spinner", 24, {100.0, 200.0, 300.0, 400.0}));
  for (auto& sensor : rotor.sensors) {
    sensor.repeatability = 0.004;
    sensor.bands = {{10000.0, 1.5, {}}};
  }
  return rotor;
}

FittedWeights holding(const Rotor& rotor, const Pieces& pieces) {
  FittedWeights fitted;
  for (const auto& [slot, id] : pieces)
    fitted.slots[slot] = {id, rotor.planes[0].find_weight(id)->moment_g_mm};
  return fitted;
}

const Pieces in_as_found{{2, "w1"}}, in_trial{{2, "w1"}, {5, "w3"}},
    in_check{{2, "w1"}, {14, "w4"}, {17, "w2"}};

/// As found, trial, check: with `really` on the rotor in the trial, and a scatter of each reading that is
/// always the same.
Job job_with(const Pieces& really) {
  const Rotor rotor = six_sensor_rotor();
  Job job = job_of(rotor, {six.run(rotor, "as found", {holding(rotor, in_as_found)}),
                           six.run(rotor, "trial", {holding(rotor, really)}),
                           six.run(rotor, "check", {holding(rotor, in_check)})});
  job.runs[1].fitted = {holding(rotor, in_trial)};
  job.fitted_now = job.runs.back().fitted;
  double turn = 0.0;
  for (auto& run : job.runs)
    for (auto& one : run.readings) {
      one.x = *one.x + std::polar(0.003, turn += 2.4);
      one.amplitude = std::abs(*one.x);
    }
  return job;
}

MistakeRanking ranking_of(const Job& job) {
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  return judged->verdict.mistakes;
}

/// The mistake named first.
RankedMistake first_of(const Job& job) {
  const auto ranking = ranking_of(job);
  REQUIRE(ranking.cause_known());
  return ranking.kinds.front();
}

}  // namespace

TEST_CASE("A slip in the trial run is named as one of the trial run, not of the check run") {
  CHECK(ranking_of(job_with(in_trial)).as_predicted());
  const auto size = first_of(job_with({{2, "w1"}, {5, "w2"}}));
  CHECK(size.kind == MistakeKind::wrong_size);
  CHECK(size.run == 1);
  CHECK(size.what == "spinner slot 5: w2 instead of w3");
  const auto next = first_of(job_with({{2, "w1"}, {6, "w3"}}));
  CHECK(next.kind == MistakeKind::shifted);
  CHECK(next.run == 1);
  const auto mirrored = first_of(job_with({{2, "w1"}, {21, "w3"}}));  // 2 - 5 + 24
  CHECK(mirrored.kind == MistakeKind::mirrored);
  CHECK(mirrored.run == 1);
  const auto opposite = first_of(job_with({{2, "w1"}, {17, "w3"}}));  // 5 + 24 / 2
  CHECK(opposite.kind == MistakeKind::opposite);
  CHECK(opposite.run == 1);
  const auto dropped = first_of(job_with({{5, "w3"}}));  // what was in was taken out
  CHECK(dropped.run == 1);
  CHECK(dropped.what == "spinner slot 2: w1 was taken out");
}

TEST_CASE(
    "Runs before that do not agree with one another predict nothing, however wide their scatter is made: "
    "what is "
    "wrong in them is named") {
  Job job = job_with(in_trial);
  Run again = job.runs[0];
  again.name = "as found again";
  for (auto& one : again.readings) one.x = *one.x + Phasor(0.002, -0.002);
  job.runs.insert(job.runs.begin() + 1, again);
  CHECK(ranking_of(job).as_predicted());
  std::swap(job.runs[0].readings, job.runs[2].readings);
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  const auto& ranking = judged->verdict.mistakes;
  CHECK(ranking.probability > as_predicted_level);  // by their widened scatter
  CHECK_FALSE(ranking.runs_agree);
  CHECK_FALSE(ranking.as_predicted());
  CHECK(ranking.kinds.front().kind == MistakeKind::runs_exchanged);
  CHECK(ranking.kinds.front().run == 0);
  CHECK(judged->verdict.outcome == Outcome::accepted_not_as_predicted);
  CHECK(judged->verdict.advice == Advice::look_first);
  CHECK_FALSE(judged->verdict.next);
  CHECK(verdict_words(judged->verdict).find("do not agree with one another") != std::string::npos);
}

TEST_CASE(
    "Runs before that only scatter more than is stated, which no mistake explains, still let a run pass") {
  Job job = job_with(in_trial);
  double turn = 1.0;
  for (const char* name : {"as found again", "as found once more"}) {
    Run again = job.runs[0];
    again.name = name;
    for (auto& one : again.readings) one.x = *one.x + std::polar(0.02, turn += 2.4);
    job.runs.insert(job.runs.begin() + 1, again);
  }
  const auto ranking = ranking_of(job);
  CHECK_FALSE(ranking.runs_agree);
  CHECK(ranking.kinds.front().kind == MistakeKind::nothing);
  CHECK(ranking.as_predicted());
  Readiness found = readiness(job);
  compare_newest_run(job, found);
  CHECK(found.has(ReadinessConcern::runs_disagree));
  CHECK(judge_job(job, {})->verdict.advice == Advice::done);
  for (auto& place : job.places) place.target = 0.05;  // as the plan would: nothing is fitted on such runs
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  CHECK(judged->verdict.advice == Advice::look_first);
  CHECK_FALSE(judged->verdict.next);
  const auto words = advice_words(judged->job, judged->verdict);
  CHECK(words.front().find(trust(judged->job, *judged->verdict.refined).words()) != std::string::npos);
}

TEST_CASE("What undoing the likeliest mistake would predict is said in a sentence") {
  const auto size = first_of(job_with({{2, "w1"}, {5, "w2"}}));
  INFO(size.undone);
  CHECK(size.undone.find("With this put right in the job") == 0);
  CHECK(size.undone.find("then as predicted") != std::string::npos);
  const Job job = job_with({{2, "w1"}, {5, "w2"}});
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  const auto words = advice_words(judged->job, judged->verdict);
  CHECK(std::any_of(words.begin(), words.end(),
                    [&](const auto& one) { return one.find(size.undone) != std::string::npos; }));
}

TEST_CASE("The readings of two runs exchanged, and one sensor's phase turned in every run, are named") {
  Job job = job_with(in_trial);
  std::swap(job.runs[0].readings, job.runs[1].readings);
  const auto exchanged = first_of(job);
  CHECK(exchanged.kind == MistakeKind::runs_exchanged);
  CHECK(exchanged.run == 0);
  CHECK(exchanged.what == "its readings and those of run \"trial\" exchanged");

  job = job_with(in_trial);
  for (auto& run : job.runs) run.readings[3].x = std::conj(*run.readings[3].x);
  const auto turned = first_of(job);
  CHECK(turned.kind == MistakeKind::phase_sense_everywhere);
  CHECK_FALSE(turned.run.has_value());
  CHECK(turned.what == "D: phase written as lead, not lag, in every run");
}

TEST_CASE("A slip of the hand in one reading of an earlier run is named with its run and place") {
  Job job = job_with(in_trial);
  *job.runs[1].readings[2].x *= 10.0;
  job.runs[1].readings[2].amplitude *= 10.0;
  const auto one = first_of(job);
  CHECK(one.kind == MistakeKind::mistyped);
  CHECK(one.run == 1);
  CHECK(one.what.find("C at 3000 rpm") == 0);
}

TEST_CASE("Readings 1000 times too small are named so only where undoing it gives what was foretold") {
  Job job = job_with(in_trial);
  for (auto& one : job.runs[2].readings) {
    *one.x /= 1000.0;
    one.amplitude /= 1000.0;
  }
  const auto small = first_of(job);
  CHECK(small.kind == MistakeKind::unit);
  CHECK(small.run == 2);
  CHECK(small.what == "all sensors: amplitudes 1000 times too small");
  // The same little, at angles that have nothing to do with what was foretold.
  double turn = 1.0;
  for (auto& one : job.runs[2].readings) one.x = std::polar(std::abs(*one.x), turn *= 2.3);
  for (const auto& kind : ranking_of(job).kinds)
    if (kind.kind == MistakeKind::unit && kind.run == 2) CHECK(kind.probability < 1e-3);
}

TEST_CASE("A run far off is not as predicted, whatever explains it, and no trim is planned on it") {
  Job job = job_with(in_trial);
  for (auto& one : job.runs[2].readings) {
    if (one.sensor > 2) continue;
    one.x =
        *one.x + std::polar(0.08, 2.4);  // eight of its standard deviations or more, at three of six sensors
    one.amplitude = std::abs(*one.x);
  }
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  const Verdict& verdict = judged->verdict;
  CHECK_FALSE(verdict.mistakes.as_predicted());
  CHECK(verdict.mistakes.probability < 1e-6);
  CHECK(verdict.outcome == Outcome::accepted_not_as_predicted);
  CHECK_FALSE(verdict.refined);
  CHECK_FALSE(verdict.next);
  CHECK(verdict_words(verdict).find("WITHIN LIMITS, BUT NOT AS PREDICTED") == 0);
}

TEST_CASE("Chi-squared of the check run has the covariance that the plan foretold with") {
  Job job = job_with(in_trial);
  for (auto& sensor : job.rotor.sensors) {
    sensor.run_to_run = 0.006;
    sensor.proportional = 0.02;
  }
  const std::size_t run = 2;
  const auto model = fit_influence(job_before(job, run));
  REQUIRE(model);
  const auto next = next_readings_with(job_before(job, run), *model->posterior, job.runs[run].fitted);
  double expected = 0.0;
  for (Eigen::Index i = 0; i < 6; ++i) {  // sensors share nothing, and each has one reading
    const auto& one =
        *std::find_if(job.runs[run].readings.begin(), job.runs[run].readings.end(),
                      [i](const Reading& r) { return static_cast<Eigen::Index>(r.sensor) == i; });
    expected += std::norm(*one.x - next.at(static_cast<std::size_t>(i))) / next.covariance(2 * i, 2 * i);
  }
  CHECK(rank_mistakes(job, *model, run).chi_squared == doctest::Approx(expected).epsilon(0.01));
}

TEST_CASE("Where a run's absence leaves the others too few, nothing is said of it, and that is told") {
  const Rotor rotor = six_sensor_rotor();
  Job job =
      job_of(rotor, {six.run(rotor, "as found", {holding(rotor, in_as_found)}),
                     six.run(rotor, "trial", {holding(rotor, in_trial)}),
                     six.run(rotor, "check", {holding(rotor, in_as_found)})});  // the weights as found again
  for (auto& one : job.runs[2].readings) *one.x *= Phasor(1.3, 0.2);
  const auto ranking = ranking_of(job);
  CHECK(ranking.not_examined == std::vector<std::size_t>{1});
  for (const auto& one : ranking.kinds) CHECK((one.run != 1 || one.kind == MistakeKind::runs_exchanged));
}

TEST_CASE("An overall level counts: missing where an earlier run has it, and no reason for a trim") {
  Job job = job_with(in_trial);
  add_overall(job.runs[0], 1.0);
  auto judged = judge_job(job, {});
  REQUIRE(judged);
  REQUIRE(judged->verdict.missing.size() == 1);
  CHECK(judged->verdict.missing[0].component == Component::overall);
  CHECK(judged->verdict.outcome == Outcome::not_accepted);
  add_overall(job.runs[2], 1.6);
  judged = judge_job(job, {});
  REQUIRE(judged);
  CHECK(judged->verdict.outcome == Outcome::not_accepted);
  CHECK(judged->verdict.advice == Advice::stop_other_source);
}

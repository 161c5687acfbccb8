#include <doctest/doctest.h>

#include <algorithm>
#include <atomic>
#include <cmath>

#include "job_builder.hpp"
#include "some.hpp"
#include "trimwright/check.hpp"
#include "trimwright/plan.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

constexpr int looks_in_limit = 400;
std::atomic<int> looks = 0;

/// A clock that goes on only when it is looked at: so long a search may take is counted, not timed.
Deadline::Clock::time_point counting_clock() {
  return Deadline::Clock::time_point(std::chrono::milliseconds(++looks));
}

TrimRequest counted_request() {
  TrimRequest request;
  request.time_limit_s = 1e-3 * looks_in_limit;
  request.ends = Deadline::after(request.time_limit_s, counting_clock);
  return request;
}

KnownRotor known_rotor() {
  KnownRotor known;
  for (int s = 0; s < 6; ++s) {
    known.x0.push_back(std::polar(0.9, 1.7 * s * s));
    known.c.push_back({std::polar(1.1e-3, 0.9 * s), std::polar(0.8e-3, 2.3 * s + 0.4)});
  }
  return known;
}

/// Two planes of 36 slots and five weights, six sensors: more than any search here gets done.
Job endless_job() {
  Rotor rotor = free_rotor({}, {"A", "B", "C", "D", "E", "F"});
  rotor.mass_kg = 1000.0;
  for (auto& sensor : rotor.sensors) sensor.bands = {{10000.0, 1.0, 1e-3}};  // a target that none meets
  for (const char* name : {"spinner", "drum"})
    rotor.planes.push_back(slotted_plane(name, 36, {31.0, 47.0, 73.0, 101.0, 149.0}));
  const KnownRotor known = known_rotor();
  FittedWeights one;
  one.slots[1] = {"w5", 149.0};
  return job_of(rotor, {known.run(rotor, "baseline", {{}, {}}), known.run(rotor, "trial spinner", {one, {}}),
                        known.run(rotor, "trial drum", {{}, one})});
}

Job repeatable(Job job) {
  for (auto& sensor : job.rotor.sensors) sensor.repeatability = 0.002;
  return job;
}

/// The same with a check run in which the weight was fitted opposite to where it is listed.
Job job_to_check() {
  Job job = repeatable(endless_job());
  FittedWeights listed, fitted;
  listed.slots[4] = {"w5", 149.0};
  fitted.slots[22] = {"w5", 149.0};
  Run check = known_rotor().run(job.rotor, "check", {fitted, {}});
  check.fitted = {listed, {}};
  job.runs.push_back(check);
  job.fitted_now = check.fitted;
  return job;
}

bool told(const std::vector<std::string>& notes, const std::string& words) {
  return std::any_of(notes.begin(), notes.end(),
                     [&](const std::string& note) { return note.find(words) != std::string::npos; });
}

/// How often `call` looks at the clock in all.
template <class Call>
int counted(Call call) {
  looks = 0;
  call();
  return looks;
}

/// Once the limit is over every search still under way looks once more, and no search begins.
void check_limit(int count) {
  CHECK(count >= looks_in_limit);
  CHECK(count < looks_in_limit + looks_in_limit / 4);
}

}  // namespace

TEST_CASE("A plan takes the time it is given, and no more") {
  check_limit(counted([] {
    const auto planned = plan_job({endless_job(), counted_request()});
    REQUIRE(planned);
    CHECK_FALSE(planned->trim.trade_off.back().proved_optimal);
  }));
}

TEST_CASE("Where no end of the call is set the searches for weights end their time limit after they begin") {
  auto request = counted_request();
  request.ends.reset();
  request.clock = counting_clock;
  check_limit(counted([&] { CHECK(plan_job({endless_job(), request})); }));
  const Job job = repeatable(endless_job());
  CHECK(counted([&] { CHECK(plan_trial(job, request, nullptr, {})); }) < 2 * looks_in_limit);
}

TEST_CASE("Further plans and the other objective share the one limit") {
  check_limit(counted([] {
    auto request = counted_request();
    request.best = 3;
    request.both_objectives = true;
    CHECK(plan_job({endless_job(), request}));
  }));
}

TEST_CASE("Easily reached planes are tried for half of the limit, then all") {
  check_limit(counted([] {
    Job job = endless_job();
    job.rotor.planes[1].access = Access::hard;
    auto request = counted_request();
    request.plane_choice = PlaneChoice::easy_first;
    const auto planned = plan_job({job, request});
    REQUIRE(planned);
    CHECK(planned->trim.planes.size() == 2);
    CHECK(planned->trim.trade_off.size() > 1);  // the second search had time too
  }));
}

TEST_CASE("A trial is advised within the limit") {
  const int count = counted([] {
    const auto trial = plan_trial(repeatable(endless_job()), counted_request(), nullptr, {});
    REQUIRE(trial);
    CHECK(trial->advice.advised().exceeds_limit);
    CHECK(told(trial->advice.notes, "of 360 were, spread evenly"));
  });
  CHECK(count > 3 * looks_in_limit / 4);  // what is left of the search for trials shows the best of them
  CHECK(count < looks_in_limit + looks_in_limit / 4);
}

TEST_CASE("A trial weighed to the end tells of no time that was over") {
  TrimRequest request = counted_request();
  request.ends = Deadline::never();
  request.max_changes = 1;
  const auto trial = plan_trial(repeatable(endless_job()), request, nullptr, {});
  REQUIRE(trial);
  CHECK_FALSE(told(trial->advice.notes, "spread evenly"));
  CHECK(trial->advice.candidates.size() == 10);  // the best of each plane and weight
}

TEST_CASE("A check weighs what may have gone wrong for half of the time, and says that not all was weighed") {
  const int count = counted([] {
    const auto judged = judge_job(job_to_check(), counted_request());
    REQUIRE(judged);
    const Verdict& verdict = judged->verdict;
    CHECK(verdict.mistakes.cut_short);
    CHECK(verdict.mistakes.kinds.size() > 1);
    CHECK_FALSE(verdict.mistakes.as_predicted());
    CHECK(told(advice_words(judged->job, verdict), "Run again with --time-limit 60."));
  });
  CHECK(count >= looks_in_limit / 2);
  CHECK(count < looks_in_limit + looks_in_limit / 4);
}

TEST_CASE("A check with time enough leaves nothing open") {
  TrimRequest request;
  request.ends = Deadline::never();
  request.max_changes = 1;
  const auto judged = judge_job(job_to_check(), request);
  REQUIRE(judged);
  CHECK_FALSE(judged->verdict.mistakes.cut_short);
  CHECK(judged->verdict.left_open.empty());
  const MistakeRanking& mistakes = judged->verdict.mistakes;
  const auto end = mistakes.kinds.begin() + static_cast<std::ptrdiff_t>(mistakes.not_told_apart);
  CHECK(std::any_of(mistakes.kinds.begin(), end,
                    [](const RankedMistake& one) { return one.kind == MistakeKind::opposite; }));
}

TEST_CASE("A check of more readings than are compared still judges limits and forecast") {
  Job job = job_to_check();
  const Run baseline = job.runs.front();
  while (job.runs.size() * baseline.readings.size() <= most_readings_compared)
    job.runs.insert(job.runs.begin() + 1, baseline);
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  CHECK(judged->verdict.mistakes.kinds.empty());
  CHECK(told(advice_words(judged->job, judged->verdict), "more than 1500 readings"));
  for (const auto& one : some(judged->verdict.readings)) CHECK(one.expected);
}

TEST_CASE("A search that a person ends answers with the best so far, and says so") {
  looks = 0;
  TrimRequest request;
  request.ends = Deadline(Deadline::interruption(), [] {
    const auto now = counting_clock();
    return looks > looks_in_limit ? Deadline::interruption() : now;
  });
  const auto planned = plan_job({endless_job(), request});
  REQUIRE(planned);
  CHECK(looks < looks_in_limit + looks_in_limit / 4);
  CHECK_FALSE(planned->trim.trade_off[planned->trim.chosen].changes.empty());
  CHECK(told(planned->trim.notes, "You ended the search: whether"));
  CHECK_FALSE(planned->trim.nothing_found());
}

TEST_CASE("A search that had no time finds no plan, and the first step says what to do") {
  TrimRequest request;
  request.ends = Deadline::after(0.0);
  const auto planned = plan_job({endless_job(), request});
  REQUIRE(planned);
  CHECK(planned->trim.nothing_found());
  CHECK(planned->steps.steps.front().kind == StepKind::do_nothing);
  CHECK(planned->steps.steps.front().instruction.find("Run again with --time-limit 60.") !=
        std::string::npos);
}

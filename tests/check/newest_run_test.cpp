#include <doctest/doctest.h>

#include <algorithm>
#include <functional>

#include "event_world.hpp"
#include "some.hpp"
#include "trimwright/check.hpp"
#include "virtual_fleet.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const ReadinessFinding* found_in(const Readiness& readiness) {
  const auto at = std::find_if(readiness.findings.begin(), readiness.findings.end(), [](const auto& one) {
    return one.concern == ReadinessConcern::not_as_foretold;
  });
  return at == readiness.findings.end() ? nullptr : &*at;
}

std::string said_of(const Job& job) {
  Readiness readiness = trimwright::readiness(job);
  compare_newest_run(job, readiness);
  const auto* finding = found_in(readiness);
  return finding == nullptr ? std::string{} : finding_words(job, *finding);
}

}  // namespace

TEST_CASE(
    "A repeat of which every phase is turned by 34 degrees is told as a reference that moved by as much") {
  for (const bool trials : {false, true}) {
    const std::string said = said_of(with_last(
        7190501, [](const Reading& r) { return *r.x * at_angle(34.0); }, 0.0, trials));
    CAPTURE(said);
    CHECK(said.find("run \"again\"") != std::string::npos);
    CHECK(said.find("reference") != std::string::npos);
    CHECK(said.find(": phases read 3") != std::string::npos);  // 34, and a few degrees of noise
    CHECK(said.find("before: [{reference: moved}]") != std::string::npos);
  }
}

TEST_CASE("Where the event is written down nothing more is said of it") {
  Job job = with_last(7190501, [](const Reading& r) { return *r.x * at_angle(34.0); });
  job.runs.back().before = {{Event::Kind::reference_moved}};
  CHECK(said_of(job).empty());
}

TEST_CASE("Shapes of change are told apart") {
  struct Case {
    const char* words;
    Change change;
    Phasor moment;
  };
  const VirtualFleet fleet;
  const Change same = [](const Reading& r) { return *r.x; };
  const Case cases[] = {
      {"reference", [](const Reading& r) { return *r.x * at_angle(-27.0); }, 0.0},
      {"in proportion to speed", [](const Reading& r) { return *r.x * at_angle(-50.0 * r.rpm / 4750.0); },
       0.0},
      {"sensor B reads 1.",
       [](const Reading& r) { return r.sensor == 1 ? *r.x * 1.5 * at_angle(20.0) : *r.x; }, 0.0},
      {"an unbalance nobody fitted, at or near rear", same, fleet.moment_worth(0.4, 1) * at_angle(70.0)},
  };
  for (const auto& one : some(cases)) {
    int named = 0;
    for (std::uint64_t seed = 7190510; seed < 7190520; ++seed) {
      const std::string said = said_of(with_last(seed, one.change, one.moment));
      named += said.find(one.words) != std::string::npos;
    }
    CAPTURE(std::string(one.words));
    CHECK(named >= 8);
  }
}

TEST_CASE("Of sound repeats few are said not to be as foretold") {
  int alarms = 0;
  for (std::uint64_t seed = 7190600; seed < 7190700; ++seed)
    alarms += !said_of(with_last(seed, [](const Reading& r) { return *r.x; })).empty();
  CHECK(alarms <= 4);  // one in a hundred is meant; more than four in a hundred come with less than 1 %
}

TEST_CASE("A check run after a reference that moved is judged as if it had not, and joins the runs") {
  Job job = with_last(7190701, [](const Reading& r) { return *r.x * at_angle(60.0); });
  const auto wrong = judge_job(job, {});
  REQUIRE(wrong);
  CHECK_FALSE(wrong->verdict.mistakes.as_predicted());
  job.runs.back().before = {{Event::Kind::reference_moved}};
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  CHECK(judged->verdict.not_predicted.empty());
  CHECK(judged->verdict.mistakes.as_predicted());
  for (const auto& one : some(judged->verdict.readings)) CHECK_FALSE(one.differs());
  REQUIRE(judged->verdict.refined);
  CHECK(judged->verdict.refined->posterior->events.size() == 1);
  // The job is as it was written.
  CHECK(judged->job.runs[0].readings[0].x == job.runs[0].readings[0].x);
}

TEST_CASE("A check run with a baseline of its own is not foretold") {
  Job job = with_last(7190701, [](const Reading& r) { return *r.x; });
  job.runs.back().before = {{Event::Kind::baseline_new}};
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  CHECK(judged->verdict.not_predicted == "the baseline became another before this run");
  CHECK(judged->verdict.mistakes.kinds.empty());
}

TEST_CASE("A check run long after an event is foretold by all runs, those before a new baseline too") {
  const VirtualFleet fleet;
  FleetDraws draws(7190801);
  FleetRotor rotor = fleet.draw({}, {}, draws);
  Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
  std::vector<Run> runs{fleet.run(rotor, "as found", u, {}, draws)};
  for (int p = 0; p < 2; ++p) {
    u.setZero();
    u(p) = fleet.moment_worth(0.5, p);
    runs.push_back(fleet.run(rotor, "trial " + std::to_string(p), u, {}, draws));
  }
  for (auto& x : rotor.x0) x += draws.complex(0.5);
  u.setZero();
  runs.push_back(fleet.run(rotor, "relubricated", u, {}, draws));
  runs.back().before = {{Event::Kind::baseline_new}};
  u(1) = fleet.moment_worth(0.3, 1);
  runs.push_back(fleet.run(rotor, "check", u, {}, draws));
  Job job = fleet.job(runs);
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  CHECK(judged->verdict.mistakes.as_predicted());
  job.runs[3].before.clear();
  const auto ignored = judge_job(job, {});
  REQUIRE(ignored);
  CHECK(fit_probability(judged->model) > 0.01);
  CHECK(fit_probability(ignored->model) < 0.001);
}

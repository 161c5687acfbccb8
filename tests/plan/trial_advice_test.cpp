#include "trimwright/plan.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <numeric>

#include "forecast/outlook.hpp"
#include "influence/run_information.hpp"
#include "job_builder.hpp"
#include "some.hpp"
#include "trimwright/forecast.hpp"
#include "virtual_fleet.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

std::vector<Eigen::Index> every_row(const InfluencePosterior& posterior) {
  std::vector<Eigen::Index> rows(posterior.rows.size());
  std::iota(rows.begin(), rows.end(), Eigen::Index{0});
  return rows;
}

const std::vector<double> trial_moments{100.0, 500.0, 2000.0};

/// A rotor of the fleet with slots, its runs so far, and the fleet's prior.
struct FleetCase {
  Job job;
  Prior prior;
};

FleetCase fleet_case(const FleetSpread& spread, int trials, double limit) {
  const VirtualFleet fleet;
  FleetDraws draws(71);
  std::vector<FleetJob> jobs;
  const auto three_runs = [&](const FleetRotor& rotor, int trial_runs) {
    std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
    for (int p = 0; p < trial_runs; ++p) {
      Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
      trial(p) = fleet.moment_worth(0.5, p);
      runs.push_back(fleet.run(rotor, "trial " + std::to_string(p), trial, {}, draws));
    }
    return fleet.job(runs);
  };
  for (int j = 0; j < 12; ++j)
    jobs.push_back({three_runs(fleet.draw(spread, {}, draws), 2), std::to_string(j)});
  const auto prior = learn_prior(jobs);
  REQUIRE(prior);
  Job job = three_runs(fleet.draw(spread, {}, draws), trials);
  for (auto& sensor : job.rotor.sensors) sensor.bands = {{6000.0, limit, 0.3}};
  for (std::size_t p = 0; p < 2; ++p) {
    const double step = fleet.moment_worth(0.1, static_cast<int>(p));
    const std::string name = job.rotor.planes[p].name;
    job.rotor.planes[p] = slotted_plane(name, 40, {step, 2 * step, 4 * step, 8 * step});
  }
  job.fitted_now = job.runs.front().fitted;
  return {settled(job), *prior};
}

struct Planned {
  SettledModel settled;
  TrimPlan trim;
};

Planned planned(const FleetCase& one) {
  auto settled = settle_and_fit(one.job, {}, &one.prior);
  REQUIRE(settled);
  TrimRequest request;
  request.max_changes = 4;
  request.time_limit_s = 2.0;
  auto trim = plan_trim(settled->job, settled->model, request);
  REQUIRE(trim);
  return {std::move(*settled), std::move(*trim)};
}

TrialAdvice advised(const Planned& one) {
  const auto advice = advise_trial(one.settled.job, {&one.settled.model, &one.trim}, {});
  REQUIRE(advice);
  return *advice;
}

/// The same runs with every phase read the other way.
Job mirrored_readings(Job job) {
  for (auto& run : job.runs)
    for (auto& reading : run.readings) reading.x = std::conj(*reading.x);
  return job;
}

}  // namespace

TEST_CASE("A trial weight of unknown effect pulls at most a tenth of the rotor's weight") {
  // 100 kg weigh 981 N; at 3000 rpm (314.16 rad/s) 98.1 N is 994 g mm, so w2 (500) is taken and w3 (2000)
  // not.
  Job job = slotted_job(trial_moments);
  const auto advice = advise_trial(job, {}, {});
  REQUIRE(advice);
  CHECK(advice->worth_making);
  CHECK(advice->advised().change.fit->weight_id == "w2");
  CHECK_FALSE(advice->advised().variance_left);
  CHECK(advice->advised().force_n == doctest::Approx(500e-6 * std::pow(100.0 * std::numbers::pi, 2)));
  job.rotor.mass_kg.reset();
  CHECK_FALSE(advise_trial(job, {}, {}));
  CHECK(advise_trial(job, {}, {0, 3, "w3"})->advised().change.slot == 3);  // named by a person: taken
  CHECK_FALSE(advise_trial(job, {}, {0, 9, "w3"}));
  CHECK_FALSE(advise_trial(job, {}, {0, 3, "w9"}));
}

TEST_CASE("A trial weight is one that is left in stock, in a slot that holds none") {
  Job job = slotted_job(trial_moments);
  job.fitted_now[0].slots[1] = {"w1", 100.0};
  CHECK(advise_trial(job, {}, {})->advised().change.slot == 2);
  CHECK(advise_trial(job, {}, {})->advised().change.fit->weight_id == "w2");
  job.fitted_now[0].slots[1] = {"w2", 500.0};
  job.rotor.planes[0].weights[1].stock = 1;
  CHECK(advise_trial(job, {}, {})->advised().change.fit->weight_id == "w1");
  const auto asked = advise_trial(job, {}, {0, 2, "w2"});
  REQUIRE_FALSE(asked);
  CHECK(asked.error().what == "no piece of weight \"w2\" is left in stock");
}

TEST_CASE("A trial weight keeps the rules of its plane") {
  Job job = slotted_job(trial_moments);
  job.rotor.planes[0].rules.max_slot_moment_g_mm = 400.0;
  CHECK(advise_trial(job, {}, {})->advised().change.fit->weight_id == "w1");
  job.rotor.planes[0].max_added_moment_g_mm = 50.0;
  CHECK_FALSE(advise_trial(job, {}, {}));
  job.rotor.planes[0].max_added_moment_g_mm.reset();
  job.fitted_now[0].slots[2] = {"w1", 100.0};
  job.rotor.planes[0].rules.apart = {{1, 2}};
  CHECK(advise_trial(job, {}, {})->advised().change.slot == 3);
}

TEST_CASE("Where the heavy spot is known but no scatter, the trial weight lies opposite") {
  Job job =
      slotted_job(trial_moments);  // x = 0.5 + 1e-3 U: the heavy spot is at 0, the light one at 180 degrees
  const KnownRotor known{{Phasor(0.5, 0.0)}, {{Phasor(1e-3, 0.0)}}};
  FittedWeights trial;
  trial.slots[3] = {"w1", 100.0};
  job.runs.push_back(known.run(job.rotor, "trial", {trial}));
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  const auto advice = advise_trial(job, {&*model, &*trim}, {});
  REQUIRE(advice);
  CHECK_FALSE(advice->worth_making);  // all planes are settled
  CHECK(job.rotor.planes[0].slots->angle(advice->advised().change.slot).degrees() == doctest::Approx(180.0));
}

TEST_CASE("A trial plan stops at the limits and puts back nothing it did not take") {
  const Job job = slotted_job(trial_moments);
  const auto advice = advise_trial(job, {}, {0, 2, "w1"});
  REQUIRE(advice);
  const auto plan = trial_steps(job, advice->advised().change);
  CHECK(plan.kind == BalancePlan::Kind::trial);
  REQUIRE(plan.expected.size() == 1);
  CHECK(plan.expected[0].stop_above == 1.0);
  CHECK_FALSE(plan.expected[0].expected.has_value());
}

TEST_CASE("What one more run would tell is what it tells once it is made") {
  // The covariance after a run does not depend on what is read: the update foretold must be that of the
  // regression with the run in it.
  const VirtualFleet fleet;
  FleetDraws draws(72);
  const FleetRotor rotor = fleet.draw({0.1, 0.05}, {}, draws);
  auto runs = fleet.runs(rotor, 4, draws);
  const auto full = influence_posterior(fleet.job(runs));
  const auto last = run_unbalance(fleet.job(runs), 3);
  runs.pop_back();
  const auto before = influence_posterior(fleet.job(runs));
  REQUIRE(full);
  REQUIRE(before);
  REQUIRE(full->noise.widened == 1.0);
  Eigen::VectorXcd u(2);
  u << last[0], last[1];
  const auto at_once = next_readings(*before, u).covariance;
  const auto foretold = after_one_more_run(*before, u, at_once, every_row(*before));
  CHECK((foretold.unknowns.covariance - full->unknowns.covariance).norm() <
        1e-9 * full->unknowns.covariance.norm());
  // What it takes off a forecast is told without the whole posterior.
  const Eigen::Vector2cd other(Phasor(40.0, -10.0), Phasor(-15.0, 60.0));
  const auto known = predicted_phasors(*before, other), after = predicted_phasors(*full, other);
  const auto told = told_by_one_more_run(*before, other, u, at_once, every_row(*before));
  CHECK((known.covariance - told - after.covariance).norm() < 1e-9 * after.covariance.norm());
}

TEST_CASE("With a good prior no trial is worth making, and the odds are those of the plan") {
  const auto one = planned(fleet_case({0.05, 0.02}, 0, 2.0));
  const auto advice = advised(one);
  CHECK_FALSE(advice.worth_making);
  REQUIRE(advice.at_once);
  CHECK(advice.at_once->meets_targets == one.trim.outlook->meets_targets);
  CHECK(advice.at_once->expected_runs < *advice.expected_runs);
}

TEST_CASE("Where a correction might pass a limit, a trial comes first, and stays below it") {
  const auto one = planned(fleet_case({0.6, 0.4}, 0, 1.3));
  const auto advice = advised(one);
  REQUIRE(advice.at_once);
  CHECK(advice.at_once->exceeds_limit > acceptable_risk);
  CHECK(advice.worth_making);
  CHECK(advice.candidates.size() == 8);
  for (const auto& candidate : some(advice.candidates)) {
    CHECK(*candidate.variance_left > 0.0);
    CHECK(*candidate.variance_left < 1.0);
  }
}

TEST_CASE("A trial weight that somebody asks about is judged itself, not all there are") {
  const auto one = planned(fleet_case({0.6, 0.4}, 0, 1.3));
  REQUIRE(*advised(one).advised().exceeds_limit <= acceptable_risk);  // there are safe ones
  bool risky = false;
  for (int slot = 1; slot <= 40 && !risky; ++slot) {
    const auto asked = advise_trial(one.settled.job, {&one.settled.model, &one.trim}, {0, slot, "w4"});
    REQUIRE(asked);
    if (*asked->advised().exceeds_limit <= acceptable_risk) continue;
    risky = true;
    std::string notes;
    for (const auto& note : asked->notes) notes += note + "\n";
    CHECK(notes.find("With the trial weight asked about") != notes.npos);
    CHECK(notes.find("No trial weight at hand") == notes.npos);
  }
  CHECK(risky);
}

TEST_CASE("Of trials as safe as each other the one that tells most is advised") {
  const auto one = planned(fleet_case({0.2, 0.12}, 0, 5.0));
  const auto advice = advised(one);
  for (const auto& candidate : some(advice.candidates))
    CHECK(*advice.advised().variance_left <= *candidate.variance_left + information_indifference);
}

TEST_CASE("A trial weight keeps what the job asks of the weights") {
  Job job = slotted_job(moments);
  job.fitted_now[0].slots[1] = {"w1", 100.0};
  TrialKnowledge known;
  CHECK(advise_trial(job, known, {0, 1, "w2"}));
  known.limits.fitted_stay = true;
  CHECK_FALSE(advise_trial(job, known, {0, 1, "w2"}));
  CHECK(advise_trial(job, known, {0, 2, "w2"}));
  known.limits.most_pieces = 1;
  CHECK_FALSE(advise_trial(job, known, {0, 2, "w2"}));
}

TEST_CASE("A trial relies on nothing that runs against the declared conventions say") {
  Job job = slotted_job_with_trial(moments);
  job.rotor.sensors[0].repeatability = 1e-3;
  for (const int slot : {3, 6}) {
    FittedWeights trial;
    trial.slots[slot] = {"w2", 500.0};
    job.runs.push_back(single_plane_rotor().run(job.rotor, "trial " + std::to_string(slot), {trial}));
  }
  const auto sound = plan_trial(job, {}, nullptr, {});
  REQUIRE(sound);
  CHECK(sound->advice.notes.empty());
  const auto mirrored = plan_trial(mirrored_readings(job), {}, nullptr, {0, 2, "w1"});
  REQUIRE(mirrored);
  REQUIRE_FALSE(mirrored->advice.notes.empty());
  CHECK(mirrored->advice.notes.front().find("contradict") != std::string::npos);
  CHECK_FALSE(mirrored->steps.expected.front().expected);
  CHECK_FALSE(plan_job({mirrored_readings(job), {}}));
  CHECK(plan_job({job, {}}));
}

TEST_CASE(
    "A trial that may put a reading above its limit (more than 5 %) is not advised beside one that may not") {
  const auto one = planned(fleet_case({0.2, 0.12}, 0, 1.45));
  int tempting = 0;  // slots where a weight with a chance of 5 to 10 % would tell more
  for (int slot = 1; slot <= 40; ++slot) {
    const auto advice = advise_trial(one.settled.job, {&one.settled.model, &one.trim}, {0, slot, {}});
    REQUIRE(advice);
    const auto& best = advice->advised();
    bool safe = false, tempts = false;
    for (const auto& candidate : some(advice->candidates)) {
      safe |= *candidate.exceeds_limit <= 0.05;
      tempts |= *candidate.exceeds_limit > 0.05 && *candidate.exceeds_limit <= 0.10 &&
                *candidate.variance_left < *best.variance_left - information_indifference;
    }
    if (safe) CHECK(*best.exceeds_limit <= 0.05);
    tempting += safe && tempts;
  }
  CHECK(tempting > 0);
}

TEST_CASE("A correction that may put a reading above its limit (more than 5 %) waits for a trial") {
  int cases = 0;  // at 5 to 10 %, and in fewer runs than with a trial
  for (const double limit : {0.9, 0.85, 0.8, 0.75, 0.7, 0.65}) {
    const auto advice = advised(planned(fleet_case({0.4, 0.25}, 0, limit)));
    const auto& once = *advice.at_once;
    if (once.exceeds_limit <= 0.05 || once.expected_runs > *advice.expected_runs) continue;
    CHECK(advice.worth_making);
    cases += once.exceeds_limit <= 0.10;
  }
  CHECK(cases > 0);
}

#include <doctest/doctest.h>

#include <cmath>

#include "forecast/outlook.hpp"
#include "influence/run_information.hpp"
#include "job_builder.hpp"
#include "learned_prior.hpp"
#include "some.hpp"
#include "trimwright/plan.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// A rotor of a fleet that scatters, read as found, with a prior and slots.
struct OwedCase {
  Job job;
  Prior prior;

  explicit OwedCase(double limit = 2.0, FleetSpread spread = {0.25, 0.15}) {
    const VirtualFleet fleet;
    FleetDraws draws(90126);
    prior = learned_prior(fleet, spread, 12, 126);
    const FleetRotor rotor = fleet.draw(spread, {}, draws);
    job = fleet.job({fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)});
    for (auto& plane : job.rotor.planes) {
      const std::string name = plane.name;
      plane = slotted_plane(name, 36, {100.0, 400.0, 1200.0});
    }
    for (auto& sensor : job.rotor.sensors)
      for (auto& band : sensor.bands) band.limit = limit;
    REQUIRE(settle_places(job));
  }

  [[nodiscard]] TrialAdvice advice(const std::vector<OwedRun>& owed) const {
    TrimRequest request;
    request.time_limit_s = 20.0;
    const auto trial = plan_trial(job, request, &prior, {}, nullptr, owed);
    REQUIRE(trial);
    return trial->advice;
  }
};

}  // namespace

TEST_CASE("What an owed run at some speeds will tell is foretold as a fit of just those readings has it") {
  const VirtualFleet fleet;
  FleetDraws draws(31126);
  const FleetRotor rotor = fleet.draw({}, {}, draws);
  auto runs = fleet.runs(rotor, 4, draws);
  auto partly = runs;
  std::erase_if(partly.back().readings, [](const Reading& one) { return one.speed != 1 && one.speed != 3; });
  const auto full = influence_posterior(fleet.job(partly));
  const auto last = run_unbalance(fleet.job(runs), 3);
  runs.pop_back();
  const auto before = influence_posterior(fleet.job(runs));
  REQUIRE(full);
  REQUIRE(before);
  REQUIRE(full->noise.widened == 1.0);
  std::vector<Eigen::Index> read;
  for (std::size_t i = 0; i < before->rows.size(); ++i)
    if (before->rows[i].first == 1 || before->rows[i].first == 3)
      read.push_back(static_cast<Eigen::Index>(i));
  REQUIRE(read.size() == 4);
  Eigen::VectorXcd u(2);
  u << last[0], last[1];
  const auto foretold = after_one_more_run(*before, u, next_readings(*before, u).covariance, read);
  CHECK((foretold.unknowns.covariance - full->unknowns.covariance).norm() <
        1e-9 * full->unknowns.covariance.norm());
}

TEST_CASE("A run that is owed at some speeds is told what to fit for it, and what that saves") {
  const OwedCase one;
  const double low = one.job.speeds_rpm[1], high = one.job.speeds_rpm[3];
  const auto advice = one.advice({{"leak check", {low, high}}});
  REQUIRE(advice.owed.size() == 1);
  const auto& owed = advice.owed.front();
  CHECK(owed.speeds == std::vector<std::size_t>{1, 3});
  CHECK(owed.saves() >= 0.0);
  CHECK(owed.runs_after >= 1.0);
  CHECK(owed.worth_making == (owed.saves() >= 0.05));
  CHECK((owed.reason.find(" for leak check: saves ") != owed.reason.npos) == owed.worth_making);
  REQUIRE_FALSE(owed.candidates.empty());
  CHECK(*owed.candidates.front().exceeds_limit <= acceptable_risk);
  CHECK(*owed.candidates.front().variance_left < 1.0);
}

TEST_CASE("An owed run at every speed tells no less than one at a single speed, and may be the check run") {
  const OwedCase one;
  const auto advice = one.advice({{"all", one.job.speeds_rpm}, {"one", {one.job.speeds_rpm[0]}}});
  const auto& all = advice.owed[0];
  const auto& single = advice.owed[1];
  REQUIRE_FALSE(all.candidates.empty());
  REQUIRE_FALSE(single.candidates.empty());
  CHECK(*all.candidates.front().variance_left <= *single.candidates.front().variance_left);
  CHECK(all.runs_after <= single.runs_after);
  CHECK(all.runs_as_it_stands <= single.runs_as_it_stands + 1e-9);
  CHECK(*advice.advised().variance_left == doctest::Approx(*all.candidates.front().variance_left));
}

TEST_CASE(
    "An owed run at every speed of a rotor that is well known is the check run of the correction: one run "
    "saved") {
  // Whatever the rotor does, the correction comes one run earlier than where nothing is fitted for that run.
  OwedCase one(2.0, {0.03, 0.02});
  for (auto& plane : one.job.rotor.planes) {  // heavy enough for a correction in a few slots
    const std::string name = plane.name;
    plane = slotted_plane(name, 36, {500.0, 2000.0, 8000.0});
  }
  const auto advice = one.advice({{"power assurance", one.job.speeds_rpm}});
  const auto& owed = advice.owed.front();
  REQUIRE(advice.at_once);
  REQUIRE(advice.at_once->meets_targets > 0.8);
  CHECK(owed.correction);
  CHECK(owed.worth_making);
  CHECK(owed.saves() == doctest::Approx(1.0).epsilon(0.1));
  CHECK(owed.reason.find("The planned correction for power assurance: saves 1") == 0);
}

TEST_CASE("Nothing is fitted for an owed run where that might pass a limit, whatever it would tell") {
  const OwedCase one(0.9, {0.6, 0.4});
  const auto advice = one.advice({{"power assurance", one.job.speeds_rpm}});
  const auto& owed = advice.owed.front();
  const bool risky = owed.candidates.empty() || *owed.candidates.front().exceeds_limit > acceptable_risk ||
                     *owed.candidates.front().headroom_share > trial_headroom_share;
  REQUIRE(risky);
  CHECK_FALSE(owed.correction);
  CHECK_FALSE(owed.worth_making);
  CHECK(owed.saves() == 0.0);
}

TEST_CASE("A weight that would tell much and is too heavy for the limits is not fitted for an owed run") {
  OwedCase one(0.9, {0.6, 0.4});
  for (auto& plane : one.job.rotor.planes) {
    const std::string name = plane.name;
    plane = slotted_plane(name, 36, {8000.0});
  }
  const auto advice = one.advice({{"power assurance", one.job.speeds_rpm}});
  const auto& owed = advice.owed.front();
  REQUIRE_FALSE(owed.candidates.empty());
  REQUIRE(*owed.candidates.front().variance_left < 0.5);
  REQUIRE(*owed.candidates.front().exceeds_limit > acceptable_risk);
  CHECK_FALSE(owed.worth_making);
}

TEST_CASE("An owed run at speeds that nobody has read tells nothing, and one in part so says it") {
  const OwedCase one;
  const double low = one.job.speeds_rpm[1];
  const auto advice = one.advice({{"crank", {400.0}}, {"leak check", {400.0, low}}});
  CHECK(advice.owed[0].reason.find("no run so far has read anything at its speeds") != std::string::npos);
  CHECK_FALSE(advice.owed[0].worth_making);
  CHECK(advice.owed[1].reason.find("is not counted") != std::string::npos);
  CHECK(advice.owed[1].speeds == std::vector<std::size_t>{1});
}

TEST_CASE("Before anything tells how weights act nothing is claimed of an owed run") {
  OwedCase one;
  one.job.rotor.mass_kg = 200.0;
  const auto trial = plan_trial(one.job, {}, nullptr, {}, nullptr, {{"leak check", one.job.speeds_rpm}});
  REQUIRE(trial);
  REQUIRE(trial->advice.owed.size() == 1);
  CHECK_FALSE(trial->advice.owed.front().worth_making);
  const std::string& reason = trial->advice.owed.front().reason;
  const SlotChange& next = trial->advice.advised().change;
  CHECK(reason.find("cannot be said") != std::string::npos);
  CHECK(reason.find(next.fit->weight_id + " in slot " + std::to_string(next.slot) + " of " +
                    one.job.rotor.planes[next.plane].name) != std::string::npos);
}

#include "influence/convention_test.hpp"

#include <doctest/doctest.h>

#include <functional>

#include "learned_prior.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

constexpr double slot_1_deg = 33.0;

/// As found and a trial run in each of two planes with 40 slots; a weight listed at a moment really sits at
/// `really` of it.
Job job_with(const VirtualFleet& fleet, std::uint64_t seed, const std::function<Phasor(Phasor)>& really) {
  FleetDraws draws(seed);
  const FleetRotor rotor = fleet.draw({0.1, 0.05}, {}, draws);
  std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
  Rotor slotted = fleet.rotor();
  for (int p = 0; p < 2; ++p) {
    Plane& plane = slotted.planes[static_cast<std::size_t>(p)];
    plane = slotted_plane(plane.name, 40, {fleet.moment_worth(0.5, p)});
    plane.slots->slot_1 = RotorAngle::from_degrees(slot_1_deg);
  }
  for (std::size_t p = 0; p < 2; ++p) {
    const Piece piece{"w1", slotted.planes[p].weights[0].moment_g_mm};
    Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
    u(static_cast<Eigen::Index>(p)) = really(slot_moment(slotted.planes[p], 9, piece));
    Run run = fleet.run(rotor, "trial " + std::to_string(p), u, {}, draws);
    run.fitted.assign(2, {});
    run.fitted[p].slots[9] = piece;
    runs.push_back(run);
  }
  Job job = fleet.job(runs);
  job.rotor = slotted;
  job.fitted_now = runs.front().fitted;
  return settled(job);
}

struct Case {
  Convention which;
  std::function<Phasor(Phasor)> really;
};

const Phasor slot_1 = std::polar(1.0, radians(slot_1_deg));
const Case cases[] = {{Convention::declared, [](Phasor u) { return u; }},
                      {Convention::slots_counted, [](Phasor u) { return slot_1 * slot_1 * std::conj(u); }},
                      {Convention::slot_1, [](Phasor u) { return u * std::polar(1.0, radians(5 * 9.0)); }},
                      {Convention::viewing_end, [](Phasor u) { return std::conj(u); }}};

}  // namespace

TEST_CASE("With a fleet's prior the declaration that is wrong is named, and no plan is made silently") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 12, 91);
  for (const auto& one : cases)
    for (const std::uint64_t seed : {301u, 302u, 303u}) {
      INFO(static_cast<int>(one.which));
      const auto settled = settle_and_fit(job_with(fleet, seed, one.really), {}, &prior);
      REQUIRE(settled);
      const auto& ways = settled->model.prior->conventions;
      REQUIRE(ways.size() == 5);
      CHECK(ways.front().which == one.which);
      const bool sound = one.which == Convention::declared;
      CHECK(trust(settled->job, settled->model).grade ==
            (sound ? Trust::Grade::sound : Trust::Grade::contradicted));
      TrimRequest request;
      request.max_changes = 1;
      CHECK(plan_trim(settled->job, settled->model, request).has_value() == sound);
      request.despite_mirror = true;
      CHECK(plan_trim(settled->job, settled->model, request).has_value());
    }
}

TEST_CASE("Phases of the other sense are told by the fleet as such") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 12, 91);
  Job job = job_with(fleet, 304, cases[0].really);
  for (auto& run : job.runs)
    for (auto& reading : run.readings) reading.x = std::conj(*reading.x);
  const auto settled = settle_and_fit(job, {}, &prior);
  REQUIRE(settled);
  CHECK(settled->model.prior->conventions.front().which == Convention::phase);
  CHECK(settled->model.runs.mirror.outcome == MirrorTest::Outcome::contradicts);
}

TEST_CASE("A baseline alone tells nothing of the conventions, with a prior or without") {
  const VirtualFleet fleet;
  const Prior prior = learned_prior(fleet, {0.1, 0.05}, 12, 91);
  Job job = job_with(fleet, 305, cases[1].really);
  job.runs.resize(1);
  const auto settled = settle_and_fit(job, {}, &prior);
  REQUIRE(settled);
  CHECK(settled->model.prior->conventions.empty());
  CHECK(settled->model.runs.mirror.outcome == MirrorTest::Outcome::cannot_tell);
}

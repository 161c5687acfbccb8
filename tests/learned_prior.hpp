#pragma once

#include <string>
#include <vector>

#include "trimwright/prior.hpp"
#include "virtual_fleet.hpp"

namespace trimwright::testing {

/// A job with a baseline and a trial run in each plane.
inline Job three_runs(const VirtualFleet& fleet, const FleetSpread& spread, FleetDraws& draws) {
  const FleetRotor rotor = fleet.draw(spread, {}, draws);
  std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
  for (int p = 0; p < 2; ++p) {
    Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
    trial(p) = fleet.moment_worth(0.5, p);
    runs.push_back(fleet.run(rotor, "trial " + std::to_string(p), trial, {}, draws));
  }
  return fleet.job(runs);
}

/// A prior learned from `jobs` such jobs, each on a rotor of its own.
inline Prior learned_prior(const VirtualFleet& fleet, const FleetSpread& spread, int jobs,
                           std::uint64_t seed) {
  FleetDraws draws(seed);
  std::vector<FleetJob> list;
  for (int j = 0; j < jobs; ++j) list.push_back({three_runs(fleet, spread, draws), std::to_string(j)});
  const auto prior = learn_prior(list);
  return prior.value();
}

}  // namespace trimwright::testing

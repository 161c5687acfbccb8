#include "odd_effects.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "mean_phasor.hpp"
#include "same_moments.hpp"

namespace trimwright {
namespace {

using Places = std::map<std::pair<std::size_t, std::size_t>, Phasor>;  ///< by sensor, then speed

Places mean_phasors(const Job& job, std::size_t run) {
  Places means;
  for (const auto& place : job.places)
    if (const auto x = mean_phasor(job.runs[run], place.speed, place.sensor))
      means[{place.sensor, place.speed}] = *x;
  return means;
}

/// How many times further a place was moved than the sensor's two places nearest to it in speed; empty where
/// it has no two.
std::optional<double> over_neighbours(const Places& moved, Places::const_iterator at) {
  const auto same = [&](Places::const_iterator other) { return other->first.first == at->first.first; };
  std::vector<double> beside;
  if (at != moved.begin() && same(std::prev(at))) beside.push_back(std::abs(std::prev(at)->second));
  if (const auto next = std::next(at); next != moved.end() && same(next))
    beside.push_back(std::abs(next->second));
  if (beside.size() < 2) return std::nullopt;
  return std::abs(at->second) / std::max({beside[0], beside[1], 1e-12});
}

}  // namespace

void judge_effects(const Job& job, const std::vector<std::size_t>& runs,
                   std::vector<ReadinessFinding>& findings) {
  if (runs.empty()) return;
  const Places found = mean_phasors(job, runs.front());
  for (const std::size_t run : runs) {
    if (event_between(job, runs.front(), run) ||
        same_moments(run_unbalance(job, runs.front()), run_unbalance(job, run)))
      continue;
    Places moved;
    for (const auto& [place, x] : mean_phasors(job, run))
      if (const auto before = found.find(place); before != found.end()) moved[place] = x - before->second;
    for (auto at = moved.begin(); at != moved.end(); ++at) {
      const auto ratio = over_neighbours(moved, at);
      if (!ratio || *ratio < odd_effect_ratio || std::abs(at->second) < 0.3 * std::abs(found.at(at->first)))
        continue;
      bool others_too = false;
      for (auto other = moved.begin(); other != moved.end(); ++other)
        if (other->first.second == at->first.second && other->first.first != at->first.first)
          others_too |= over_neighbours(moved, other).value_or(0.0) > 0.5 * odd_effect_ratio;
      if (!others_too)
        findings.push_back(
            {ReadinessConcern::odd_effect, at->first.second, at->first.first, {run}, *ratio, 0.0, {}});
    }
  }
}

}  // namespace trimwright

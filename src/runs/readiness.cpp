#include "trimwright/job.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <tuple>

namespace trimwright {
namespace {

using Concern = ReadinessConcern;
using PlaceKey = std::pair<std::size_t, std::size_t>;  // speed, sensor

std::vector<std::size_t> runs_used(const Job& job) {
  std::vector<std::size_t> runs;
  for (std::size_t r = 0; r < job.runs.size(); ++r)
    if (!job.runs[r].set_aside) runs.push_back(r);
  return runs;
}

const Place& place_of(const Job& job, const Reading& reading) {
  return place_of(job, reading.speed, reading.sensor);
}

std::optional<double> sd_of(const Job& job, const Reading& reading) {
  return reading.repeatability ? reading.repeatability : job.rotor.sensors[reading.sensor].repeatability;
}

ReadinessFinding at(Concern concern, const Reading& reading, std::size_t run, double ratio) {
  return {concern, reading.speed, reading.sensor, {run}, ratio};
}

/// Largest reading of the last run over its target; findings for those above their limit.
void judge_levels(const Job& job, std::size_t run, std::vector<ReadinessFinding>& findings) {
  double worst = 0.0;
  bool all_have_targets = !job.runs[run].readings.empty();
  for (const auto& reading : job.runs[run].readings) {
    const Place& place = place_of(job, reading);
    if (reading.amplitude > place.limit)
      findings.push_back(at(Concern::above_limit, reading, run, reading.amplitude / place.limit));
    all_have_targets = all_have_targets && place.target.has_value();
    if (place.target) worst = std::max(worst, reading.amplitude / *place.target);
  }
  if (all_have_targets && worst <= 1.0) findings.push_back({Concern::below_target, {}, {}, {run}, worst});
}

bool above_target(const Job& job, const Reading& reading) {
  return reading.amplitude > place_of(job, reading).goal();
}

void judge_single_readings(const Job& job, std::size_t run, std::vector<ReadinessFinding>& findings) {
  for (const auto& reading : job.runs[run].readings) {
    if (reading.component != Component::once_per_rev) continue;
    if (!reading.x) findings.push_back(at(Concern::no_phase, reading, run, 0.0));
    const auto sensor_sd = job.rotor.sensors[reading.sensor].repeatability;
    if (reading.repeatability && sensor_sd && *reading.repeatability > 2.0 * *sensor_sd)
      findings.push_back(at(Concern::scatters_within, reading, run, *reading.repeatability / *sensor_sd));
    if (const auto sd = sd_of(job, reading);
        sd && reading.amplitude < 3.0 * *sd && above_target(job, reading))
      findings.push_back(at(Concern::too_small, reading, run, reading.amplitude / *sd));
  }
}

/// Overall level and once-per-rev amplitude of one run; whether both were read anywhere.
bool judge_shares(const Job& job, std::size_t run, std::vector<ReadinessFinding>& findings) {
  const auto& readings = job.runs[run].readings;
  bool both = false;
  for (const auto& overall : readings) {
    if (overall.component != Component::overall || overall.amplitude <= 0.0) continue;
    for (const auto& part : readings) {
      if (part.component != Component::once_per_rev || part.speed != overall.speed ||
          part.sensor != overall.sensor)
        continue;
      both = true;
      const double share = part.amplitude / overall.amplitude;
      const double slack = 1.0 + 3.0 * sd_of(job, part).value_or(0.0) / overall.amplitude;
      if (share < once_per_rev_part && above_target(job, overall))
        findings.push_back(at(Concern::mostly_other, part, run, share));
      else if (share > slack + 0.02)
        findings.push_back(at(Concern::more_than_all, part, run, share));
    }
  }
  return both;
}

bool same_unbalance(const Job& job, std::size_t a, std::size_t b) {
  const auto one = run_unbalance(job, a), other = run_unbalance(job, b);
  return std::equal(one.begin(), one.end(), other.begin(), [](const auto& x, const auto& y) {
    return std::abs(x - y) <= 1e-9 * std::max(1.0, std::abs(x));
  });
}

/// Runs in order, those with the same weights together.
std::vector<std::vector<std::size_t>> repeats(const Job& job) {
  std::vector<std::vector<std::size_t>> groups;
  for (const std::size_t run : runs_used(job)) {
    const auto group = std::find_if(groups.begin(), groups.end(),
                                    [&](const auto& one) { return same_unbalance(job, one.front(), run); });
    if (group == groups.end())
      groups.push_back({run});
    else
      group->push_back(run);
  }
  std::erase_if(groups, [](const auto& group) { return group.size() < 2; });
  return groups;
}

struct Series {
  std::vector<std::size_t> runs;
  std::vector<Phasor> x;
};

std::map<PlaceKey, Series> series_of(const Job& job, const std::vector<std::size_t>& group) {
  std::map<PlaceKey, Series> all;
  for (const std::size_t run : group)
    for (const auto& reading : job.runs[run].readings)
      if (reading.component == Component::once_per_rev && reading.x) {
        auto& series = all[{reading.speed, reading.sensor}];
        series.runs.push_back(run);
        series.x.push_back(*reading.x);
      }
  return all;
}

/// Whether every step goes roughly the way of the whole change (within 60 degrees).
bool one_direction(const std::vector<Phasor>& x) {
  if (x.size() < 3) return false;
  const Phasor whole = x.back() - x.front();
  for (std::size_t i = 1; i < x.size(); ++i) {
    const Phasor step = x[i] - x[i - 1];
    if ((step * std::conj(whole)).real() <= 0.5 * std::abs(step) * std::abs(whole)) return false;
  }
  return true;
}

void judge_repeats(const Job& job, std::vector<ReadinessFinding>& findings) {
  const auto groups = repeats(job);
  if (groups.empty()) findings.push_back({Concern::no_repeat, {}, {}, runs_used(job), 0.0});
  for (const auto& group : groups)
    for (const auto& [place, series] : series_of(job, group)) {
      if (series.x.size() < 2) continue;
      double most = 0.0, mean = 0.0;
      for (const Phasor a : series.x) {
        mean += std::abs(a) / static_cast<double>(series.x.size());
        for (const Phasor b : series.x) most = std::max(most, std::abs(a - b));
      }
      const auto sd = job.rotor.sensors[place.second].repeatability;
      const bool matters = mean > place_of(job, place.first, place.second).goal();
      if (!matters || most <= steady_part * mean || (sd && most <= 4.0 * *sd)) continue;
      const Phasor turn = series.x.back() * std::conj(series.x.front());
      findings.push_back({one_direction(series.x) ? Concern::drifts : Concern::does_not_repeat, place.first,
                          place.second, series.runs, most / mean, std::arg(turn) * 180.0 / std::numbers::pi});
    }
}

}  // namespace

bool Readiness::ready() const {
  return std::none_of(findings.begin(), findings.end(),
                      [](const auto& finding) { return holds_up(finding.concern); });
}

bool Readiness::has(ReadinessConcern concern) const {
  return std::any_of(findings.begin(), findings.end(),
                     [concern](const auto& finding) { return finding.concern == concern; });
}

Readiness readiness(const Job& job) {
  Readiness readiness;
  auto& findings = readiness.findings;
  const auto runs = runs_used(job);
  if (runs.empty()) return readiness;
  judge_levels(job, runs.back(), findings);
  for (const std::size_t run : runs) {
    judge_single_readings(job, run, findings);
    readiness.overall_read = judge_shares(job, run, findings) || readiness.overall_read;
    const auto& readings = job.runs[run].readings;
    readiness.scatter_stated = readiness.scatter_stated ||
                               std::any_of(readings.begin(), readings.end(),
                                           [](const Reading& one) { return one.repeatability.has_value(); });
  }
  judge_repeats(job, findings);
  readiness.repeated = !readiness.has(Concern::no_repeat);
  std::stable_sort(findings.begin(), findings.end(), [](const auto& a, const auto& b) {
    return std::tie(a.concern, a.speed, a.sensor) < std::tie(b.concern, b.speed, b.sensor);
  });
  return readiness;
}

bool holds_up(ReadinessConcern concern) {
  return concern != Concern::no_repeat && concern != Concern::above_limit;
}

}  // namespace trimwright

#include "trimwright/job.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <tuple>

#include "base/text.hpp"
#include "next_steps.hpp"
#include "odd_effects.hpp"
#include "odd_entries.hpp"
#include "same_moments.hpp"
#include "stated_sd.hpp"
#include "used_runs.hpp"

namespace trimwright {
namespace {

using Concern = ReadinessConcern;
using PlaceKey = std::pair<std::size_t, std::size_t>;  // speed, sensor

const Place& place_of(const Job& job, const Reading& reading) {
  return place_of(job, reading.speed, reading.sensor);
}

ReadinessFinding at(Concern concern, const Reading& reading, std::size_t run, double ratio) {
  return {concern, reading.speed, reading.sensor, {run}, ratio};
}

void judge_limits(const Job& job, std::size_t run, Concern concern, std::vector<ReadinessFinding>& findings) {
  for (const auto& reading : job.runs[run].readings)
    if (const double limit = place_of(job, reading).limit; reading.amplitude > limit)
      findings.push_back(at(concern, reading, run, reading.amplitude / limit));
}

void judge_targets(const Job& job, std::size_t run, std::vector<ReadinessFinding>& findings) {
  double worst = 0.0;
  for (const auto& reading : job.runs[run].readings) {
    const auto target = place_of(job, reading).target;
    worst = std::max(worst, target ? reading.amplitude / *target : 2.0);
  }
  if (worst <= 1.0) findings.push_back({Concern::below_target, {}, {}, {run}, worst});
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
    if (const auto sd = stated_sd(job.rotor, reading);
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
      const double slack = 1.0 + 3.0 * stated_sd(job.rotor, part).value_or(0.0) / overall.amplitude;
      if (share < once_per_rev_part && above_target(job, overall))
        findings.push_back(at(Concern::mostly_other, part, run, share));
      else if (share > slack + 0.02)
        findings.push_back(at(Concern::more_than_all, part, run, share));
    }
  }
  return both;
}

/// Runs in order, those with the same weights together.
std::vector<std::vector<std::size_t>> repeats(const Job& job) {
  std::vector<std::vector<std::size_t>> groups;
  for (const std::size_t run : runs_used(job)) {
    const auto group = std::find_if(groups.begin(), groups.end(), [&](const auto& one) {
      return same_moments(run_unbalance(job, one.front()), run_unbalance(job, run)) &&
             !event_between(job, one.front(), run);
    });
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

/// Runs without a reading, and whose they may be.
void judge_unread(const Job& job, const std::vector<std::size_t>& runs,
                  std::vector<ReadinessFinding>& findings) {
  for (std::size_t k = 0; k < runs.size(); ++k) {
    if (!job.runs[runs[k]].readings.empty()) continue;
    std::map<std::pair<PlaceKey, Component>, int> count;
    if (k > 0)
      for (const auto& one : job.runs[runs[k - 1]].readings)
        ++count[{{one.speed, one.sensor}, one.component}];
    const auto twice =
        std::count_if(count.begin(), count.end(), [](const auto& one) { return one.second == 2; });
    if (twice > 0 && 2 * static_cast<std::size_t>(twice) > count.size())
      findings.push_back({Concern::doubled_readings, {}, {}, {runs[k - 1], runs[k]}});
    else
      findings.push_back({Concern::unread_run, {}, {}, {runs[k]}});
  }
}

/// Readings of one run and place that no scatter explains.
void judge_contradictions(const Job& job, std::size_t run, std::vector<ReadinessFinding>& findings) {
  std::map<PlaceKey, std::vector<const Reading*>> places;
  for (const auto& one : job.runs[run].readings)
    if (one.component == Component::once_per_rev && one.x) places[{one.speed, one.sensor}].push_back(&one);
  for (const auto& [place, all] : places) {
    double most = 0.0;
    for (const Reading* a : all)
      for (const Reading* b : all) most = std::max(most, std::abs(*a->x - *b->x));
    const double size = std::abs(*all.front()->x);
    const Sensor& sensor = job.rotor.sensors[place.second];
    const double sd =
        std::hypot(stated_sd(job.rotor, *all.front()).value_or(0.0), sensor.proportional * size);
    if (most > 4.0 * std::numbers::sqrt2 * sd && most > steady_part * size)
      findings.push_back({Concern::contradicts, place.first, place.second, {run}, most / size});
  }
}

/// Runs as many as the unknowns, which are the vibration as found and the effect of each plane.
void judge_spare(const Job& job, const std::vector<std::size_t>& runs,
                 std::vector<ReadinessFinding>& findings) {
  std::vector<std::size_t> read;
  for (const std::size_t run : runs)
    if (std::any_of(job.runs[run].readings.begin(), job.runs[run].readings.end(),
                    [](const Reading& one) { return one.x.has_value(); }))
      read.push_back(run);
  if (job.small_residual || read.size() < 2 || event_between(job, read.front(), read.back())) return;
  if (read.size() == 1 + planes_changed(job, read).size())
    findings.push_back({Concern::nothing_spare, {}, {}, read, static_cast<double>(read.size())});
}

/// A last run that is no trial, neither by its name nor as the first to change a plane, and that was made
/// with other weights than are stated to be in now: most likely the check run, its weights still in.
void judge_fitted_now(const Job& job, const std::vector<std::size_t>& runs,
                      std::vector<ReadinessFinding>& findings) {
  const std::size_t last = runs.back();
  if (runs.size() < 2 || job.runs[last].readings.empty()) return;
  if (!job.fitted_now_stated) {
    if (called_trial(job.runs[last])) findings.push_back({Concern::trial_weight_in, {}, {}, {last}});
    return;
  }
  const bool first_to_change =
      planes_changed(job, runs).size() > planes_changed(job, {runs.begin(), runs.end() - 1}).size();
  if (!called_trial(job.runs[last]) && !first_to_change &&
      !same_moments(run_unbalance(job, last), unbalance_now(job)))
    findings.push_back({Concern::not_fitted_now, {}, {}, {last}});
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
  if (std::none_of(runs.begin(), runs.end(), [&](std::size_t r) { return !job.runs[r].readings.empty(); })) {
    findings.push_back({Concern::no_readings, {}, {}, runs});
    return readiness;
  }
  if (!job.rotor.to_confirm.empty())
    findings.push_back({Concern::to_confirm, {}, {}, {}, 0.0, 0.0, listed_to_confirm(job.rotor)});
  for (const std::size_t run : runs)
    if (!job.runs[run].readings.empty() && same_moments(run_unbalance(job, run), unbalance_now(job)))
      readiness.judged = run;
  const std::size_t judged = readiness.judged.value_or(runs.back());
  for (const std::size_t run : runs)
    judge_limits(job, run, run == judged ? Concern::above_limit : Concern::went_above_limit, findings);
  if (readiness.judged) judge_targets(job, judged, findings);
  judge_unread(job, runs, findings);
  judge_speeds(job, runs, findings);
  judge_effects(job, runs, findings);
  judge_lists(job, runs, findings);
  judge_conditions(job, runs, findings);
  judge_fitted_now(job, runs, findings);
  judge_spare(job, runs, findings);
  for (const std::size_t run : runs) {
    judge_single_readings(job, run, findings);
    judge_contradictions(job, run, findings);
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
  return concern != Concern::no_repeat && concern != Concern::odd_effect &&
         concern != Concern::runs_disagree && concern != Concern::no_longer_listed &&
         concern != Concern::other_conditions && concern != Concern::trial_weight_in &&
         concern != Concern::not_fitted_now && concern != Concern::went_above_limit &&
         concern != Concern::nothing_spare;
}

}  // namespace trimwright

#include "convention_test.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "base/text.hpp"
#include "mirror_test.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/prior.hpp"

namespace trimwright {
namespace {

/// A job as it is if something was declared otherwise.
struct Form {
  Convention which = Convention::declared;
  std::string what;
  double share = 1.0;
  Job job;
};

Direction turned(Direction one) {
  return one == Direction::with_rotation ? Direction::against_rotation : Direction::with_rotation;
}

RotorAngle mirrored(RotorAngle angle) { return RotorAngle::from_degrees(-angle.degrees()); }

/// All angles of the rotor the other way round: an end or the sense of rotation mistaken.
Job seen_from_other_end(Job job) {
  for (auto& plane : job.rotor.planes)
    if (plane.slots) {
      plane.slots->numbered_relative = turned(plane.slots->numbered_relative);
      plane.slots->slot_1 = mirrored(plane.slots->slot_1);
    }
  for (auto& run : job.runs) {
    for (auto& fitted : run.fitted)
      for (auto& piece : fitted.free) piece.at = mirrored(piece.at);
    for (auto& change : run.changes) change.moment_g_mm = std::conj(change.moment_g_mm);
  }
  return job;
}

/// Planes with slots: each alone, and all together where there are several.
std::vector<std::vector<std::size_t>> slotted_planes(const Rotor& rotor) {
  std::vector<std::vector<std::size_t>> sets;
  std::vector<std::size_t> all;
  for (std::size_t p = 0; p < rotor.planes.size(); ++p)
    if (rotor.planes[p].slots) {
      sets.push_back({p});
      all.push_back(p);
    }
  if (all.size() > 1) sets.push_back(all);
  return sets;
}

std::string names_of(const Rotor& rotor, const std::vector<std::size_t>& planes) {
  std::string names;
  for (const std::size_t p : planes) names += (names.empty() ? "" : " and ") + rotor.planes[p].name;
  return names;
}

std::vector<Form> forms_of(const Job& job) {
  const bool lag = job.rotor.phase == PhaseConvention::lag;
  std::vector<Form> forms{
      {Convention::declared, "as declared", 1.0, job},
      {Convention::phase, lag ? "phase is lead, not lag" : "phase is lag, not lead", 1.0,
       with_phase_convention(job, lag ? PhaseConvention::lead : PhaseConvention::lag)},
      {Convention::viewing_end, "angles are the other way round (seen from the other end)", 1.0,
       seen_from_other_end(job)}};
  for (const auto& planes : slotted_planes(job.rotor)) {
    const std::string names = names_of(job.rotor, planes);
    Form mirrored{Convention::slots_counted, names + ": slots were counted the wrong way from slot 1", 1.0,
                  job};
    int least = std::numeric_limits<int>::max();
    for (const std::size_t p : planes) {
      auto& ring = *mirrored.job.rotor.planes[p].slots;
      ring.numbered_relative = turned(ring.numbered_relative);
      least = std::min(least, ring.count);
    }
    forms.push_back(std::move(mirrored));
    for (int k = 1; k <= least / 2; ++k)
      for (const bool on : {true, false}) {
        if (!on && 2 * k == least) continue;
        Form moved{Convention::slot_1,
                   fmt::format("{}: slot 1 is {} further {} the numbers than thought", names,
                               counted(static_cast<std::size_t>(k), "slot"), on ? "along" : "against"),
                   1.0 / (k * k), job};
        for (const std::size_t p : planes) {
          auto& ring = *moved.job.rotor.planes[p].slots;
          ring.slot_1 = ring.angle(on ? 1 + k : ring.count + 1 - k);
        }
        forms.push_back(std::move(moved));
      }
  }
  return forms;
}

/// The best form of a way and the sum over all.
struct Way {
  ConventionOdds best;
  double best_weight = -std::numeric_limits<double>::infinity();
  double sum = 0.0, shares = 0.0;
};

}  // namespace

std::vector<ConventionOdds> compare_with_fleet(const Job& job, const std::vector<std::size_t>& planes,
                                               const Prior& prior) {
  if (planes_changed(job, runs_read(job)).empty()) return {};
  const auto forms = forms_of(job);
  std::vector<double> misfits;
  double least = std::numeric_limits<double>::infinity();
  int freedom = 1;
  for (const auto& form : forms) {
    const auto fit = influence_posterior(form.job, planes, &prior);
    if (!fit) return {};
    misfits.push_back(fit->misfit);
    if (fit->misfit < least) least = fit->misfit, freedom = std::max(1, fit->misfit_dof);
  }
  const double excess = std::max(1.0, least / freedom);
  std::map<Convention, Way> ways;
  for (std::size_t i = 0; i < forms.size(); ++i) {
    Way& way = ways[forms[i].which];
    const double weight = std::log(forms[i].share) - 0.5 * (misfits[i] - least) / excess;
    way.sum += std::exp(weight);
    way.shares += forms[i].share;
    if (weight <= way.best_weight) continue;
    way.best_weight = weight;
    way.best = {forms[i].which, forms[i].what, 0.0};
  }
  const auto evidence = [](const Way& one) { return std::log(std::max(one.sum / one.shares, 1e-300)); };
  std::vector<ConventionOdds> all;
  for (auto& [which, way] : ways) {
    way.best.log_odds = evidence(way) - evidence(ways[Convention::declared]);
    all.push_back(way.best);
  }
  std::stable_sort(all.begin(), all.end(),
                   [](const auto& a, const auto& b) { return a.log_odds > b.log_odds; });
  return all;
}

}  // namespace trimwright

#include "trimwright/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "runs/used_runs.hpp"
#include "steps.hpp"
#include "trial_information.hpp"
#include "trial_weights.hpp"
#include "trim/time_words.hpp"

namespace trimwright {
namespace {

bool in(const std::vector<std::size_t>& planes, std::size_t plane) {
  return std::find(planes.begin(), planes.end(), plane) != planes.end();
}

/// The plane that needs a trial most: none tried it yet, easily reached, first in the rotor file.
std::size_t first_unknown(const Job& job, const std::vector<std::size_t>& planes) {
  const auto tried = planes_changed(job, runs_read(job));
  return *std::min_element(planes.begin(), planes.end(), [&](std::size_t a, std::size_t b) {
    const auto rank = [&](std::size_t p) {
      return std::tuple(in(tried, p), job.rotor.planes[p].access == Access::hard, p);
    };
    return rank(a) < rank(b);
  });
}

void add_correction(const TrialOutset& outset, const TrimPlan& trim, TrialAdvice& advice) {
  CorrectionAtOnce once{trim.outlook->meets_targets, 1.0 - trim.outlook->meets_limits, 0.0};
  const double again = success_after(outset, belief_after(outset, outset.belief, outset.corrected));
  once.expected_runs = runs_to_go(once.meets_targets, again);
  advice.at_once = once;
}

/// Whether to run a trial or fit the correction, and why.
void decide(TrialAdvice& advice) {
  const CorrectionAtOnce& once = *advice.at_once;
  const bool safe = once.exceeds_limit <= acceptable_risk;
  advice.worth_making = !safe || once.expected_runs > *advice.expected_runs;
  const std::string chances = fmt::format(
      "Fitted at once, the planned correction meets every target with a probability of {} and "
      "exceeds a limit with {}",
      percent_words(once.meets_targets), percent_words(once.exceeds_limit));
  if (!advice.worth_making)
    advice.reason = fmt::format(
        "{}. Until every target is met, that takes {} on average, and {} with a trial run before it: a "
        "correction that falls short tells as much as a trial.",
        chances, runs_words(once.expected_runs), runs_words(*advice.expected_runs));
  else if (!safe)
    advice.reason = chances + ": a trial run at less risk comes first.";
  else
    advice.reason =
        fmt::format("{}. Until every target is met, that takes {} on average, and {} with a trial run first.",
                    chances, runs_words(once.expected_runs), runs_words(*advice.expected_runs));
}

/// Planes whose effect is known with its uncertainty.
Result<TrialAdvice> by_information(const Job& job, const TrialKnowledge& known, const TrialChoice& choice,
                                   const std::vector<std::size_t>& planes) {
  const TrialOutset outset(job, *known.model->belief, *known.trim);
  TrialAdvice advice;
  add_correction(outset, *known.trim, advice);
  const auto all = judged_candidates(outset, known, choice, planes);
  if (!all) return tl::unexpected(all.error());
  if (all->all.size() < all->of)
    advice.notes.push_back(fmt::format(
        "{} before every trial weight was weighed: {} of {} were, spread evenly over planes, slots and "
        "weights. {}",
        what_ended(*known.asked), all->all.size(), all->of, run_again(*known.asked)));
  advice.candidates = best_candidates(outset, all->all, deadline_of(known));
  advice.expected_runs = 1.0 + 1.0 / std::max(*advice.advised().meets_targets, least_hope);
  decide(advice);
  for (const auto& row : known.trim->not_predicted)
    advice.notes.push_back(fmt::format("NOT PREDICTED, and not in these chances: {}.{}",
                                       place_words(job, row.place.speed, row.place.sensor), watch_it));
  if (*advice.advised().exceeds_limit > acceptable_risk)
    advice.notes.push_back(
        choice.slot || choice.weight_id
            ? fmt::format("With the trial weight asked about the chance of a reading above its limit is {}, "
                          "more than "
                          "{:.0f} %. Others may be safer: ask without naming slot and weight.",
                          percent_words(*advice.advised().exceeds_limit), 100.0 * acceptable_risk)
            : fmt::format(
                  "No trial weight at hand{} keeps the chance of a reading above its limit below {:.0f} %: "
                  "the safest is shown. Stay below the speeds where the limit is near.",
                  choice.plane ? " in plane " + job.rotor.planes[*choice.plane].name : "",
                  100.0 * acceptable_risk));
  return advice;
}

/// A correction by the known planes alone, before the others are tried.
void weigh_known_planes(const Job& job, const TrimPlan& trim, TrialAdvice& advice) {
  const double p = trim.outlook->meets_targets, risk = 1.0 - trim.outlook->meets_limits;
  advice.at_once = CorrectionAtOnce{p, risk, 1.0 + 2.0 * (1.0 - p)};
  advice.expected_runs = 2.0;
  std::string names;
  for (const std::size_t plane : trim.planes)
    names += (names.empty() ? "" : ", ") + job.rotor.planes[plane].name;
  advice.worth_making = risk > acceptable_risk || advice.at_once->expected_runs > *advice.expected_runs;
  advice.reason = fmt::format(
      "A correction in {} alone, whose effect is known, meets every target with a probability of {} and "
      "exceeds a limit with {}: {}.",
      names, percent_words(p), percent_words(risk),
      advice.worth_making ? "a trial in the next plane is the better run"
                          : "on average fitting it at once needs fewer runs than a trial in another plane");
}

/// Planes of unknown effect, or of one known without its uncertainty.
Result<TrialAdvice> by_the_rule(const Job& job, const TrialKnowledge& known, const TrialChoice& choice,
                                std::size_t plane) {
  const auto changes = trial_changes(job, plane, choice, known.limits);
  if (!changes) return tl::unexpected(changes.error());
  const bool settled = known.model != nullptr && known.trim != nullptr && in(known.model->planes, plane);
  const auto effects = settled                    ? effects_by_model(job, *known.model, plane)
                       : known.earlier != nullptr ? effects_by_earlier(job, *known.earlier, plane)
                                                  : std::vector<KnownEffect>{};
  auto wanted = moment_wanted(effects);
  if (settled)
    for (const auto& part : known.trim->correction.parts)
      if (part.plane == plane) wanted = part.moment_to_add;
  const bool sized = std::abs(wanted) > 0.0;
  const auto change = sized ? by_headroom(job, *changes, effects, wanted) : by_force(job, *changes, choice);
  if (!change) return tl::unexpected(change.error());
  TrialAdvice advice;
  advice.candidates = {candidate_of(job, *change)};
  const std::string& name = job.rotor.planes[plane].name;
  advice.notes.push_back(fmt::format("How likely a limit is exceeded in this run cannot be said: {}.",
                                     settled ? "nothing tells how well the readings repeat"
                                             : "nothing is known yet of how plane " + name +
                                                   " acts (a prior of the rotor type would tell)"));
  if (sized) advice.candidates.front().headroom_share = headroom_share(effects, moment_added(job, *change));
  if (!choice.weight_id)
    advice.notes.push_back(
        sized ? fmt::format(
                    "The weight is the heaviest that the estimated unbalance asks for and that is "
                    "expected to change no reading by more than {:.0f} % of what is left below its limit "
                    "(common practice, no published source).",
                    100.0 * trial_headroom_share)
              : fmt::format("The weight is the heaviest in stock that pulls with less than {:.0f} % of the "
                            "rotor's weight at the highest speed (common practice, no published source): "
                            "nothing tells yet what it does.",
                            100.0 * trial_force_share));
  if (!choice.slot)
    advice.notes.push_back(!sized    ? "The slot is the free one that comes first from the reference tooth: "
                                       "where the heavy spot is, nothing tells yet. An earlier job of this "
                                       "serial or rotor type would (given with --earlier)."
                           : settled ? "The slot lies opposite the estimated heavy spot."
                                     : "The slot lies opposite the heavy spot as this plane acted in " +
                                           known.earlier->from + ".");
  if (settled) {
    advice.worth_making = false;
    advice.reason =
        "The runs settle how every plane acts, and the correction can be fitted at once. How likely it is to "
        "do cannot be said: nothing tells how well the readings repeat (repeatability in the rotor file, or "
        "repeated runs).";
  } else {
    advice.reason = "How plane " + name + " acts is not known: no correction can be planned with it.";
    if (known.trim != nullptr && known.trim->outlook && known.trim->has_slots())
      weigh_known_planes(job, *known.trim, advice);
  }
  return advice;
}

Result<TrialAdvice> advice_of(const Job& job, const TrialKnowledge& known, const TrialChoice& choice) {
  if (job.speeds_rpm.empty())
    return fail("the job has no reading, so nobody knows at which speeds to run",
                "the readings of a baseline run");
  const auto planes = trial_planes(job, known, choice);
  if (planes.empty()) return fail("no plane has slots and a catalogue", "a plane with slots and weights");
  if ((choice.slot || choice.weight_id) && planes.size() > 1)
    return fail("a slot or a weight is named, and several planes have some", "the plane as well");
  const auto* model = known.model;
  std::vector<std::size_t> unknown;
  for (const std::size_t plane : planes)
    if (model == nullptr || !in(model->planes, plane)) unknown.push_back(plane);
  if (!unknown.empty()) return by_the_rule(job, known, choice, first_unknown(job, unknown));
  if (!tells_chances(known)) return by_the_rule(job, known, choice, first_unknown(job, planes));
  return by_information(job, known, choice, planes);
}

}  // namespace

Result<TrialAdvice> advise_trial(const Job& job, const TrialKnowledge& known, const TrialChoice& choice) {
  auto advice = advice_of(job, known, choice);
  if (!advice) return advice;
  if (const auto share = advice->advised().headroom_share; share && *share > trial_headroom_share)
    advice->notes.push_back(fmt::format(
        "This weight is expected to change a reading by more than {:.0f} % of what is left below its "
        "limit{}.",
        100.0 * trial_headroom_share,
        choice.weight_id || choice.slot
            ? ""
            : ", and none at hand by less: approach the highest speeds with care"));
  if (!readiness(job).has(ReadinessConcern::above_limit)) return advice;
  advice->can_be_completed =
      advice->advised().exceeds_limit.has_value() || speeds_above_limit(job).size() < job.speeds_rpm.size();
  advice->notes.insert(advice->notes.begin(),
                       "A level is above its limit with what is fitted now: inspect first, as the maker's "
                       "manual says (trimwright ready), and make no run that goes above a limit.");
  if (advice->can_be_completed) return advice;
  advice->worth_making = false;
  advice->reason =
      "At every speed a level is above its limit with what is fitted now: no trial run can be "
      "completed below the limits.";
  return advice;
}

}  // namespace trimwright

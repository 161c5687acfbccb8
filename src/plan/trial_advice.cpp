#include "trimwright/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "forecast/outlook.hpp"
#include "influence/run_information.hpp"
#include "trial_weights.hpp"
#include "trim/time_words.hpp"

namespace trimwright {
namespace {

/// Below this a probability of success counts as this much when runs are foretold.
constexpr double least_hope = 0.05;

/// What is planned, and what is known now; the yardstick for every candidate.
struct Outset {
  const Job& job;
  const InfluencePosterior& belief;
  Eigen::VectorXcd correction;   ///< U of the belief's planes with the correction planned
  PhasorDistribution corrected;  ///< what would be read then
  RowLevels levels;
  double variance = 0.0;  ///< of what the correction leaves, over the targets, now
  OutlookDraws scan, draws;
};

/// Sum over the rows of the variance of x over the square of the target.
double over_targets(const Outset& outset, const Eigen::MatrixXd& covariance) {
  double sum = 0.0;
  for (Eigen::Index i = 0; i < outset.levels.target.size(); ++i)
    sum += covariance.diagonal().segment<2>(2 * i).sum() / std::pow(outset.levels.target(i), 2);
  return sum;
}

Outset outset_of(const Job& job, const InfluencePosterior& belief, const TrimPlan& trim) {
  const auto fitted = fitted_after(job, trim.trade_off[trim.chosen].changes);
  const auto components = 2 * static_cast<Eigen::Index>(belief.rows.size());
  const double freedom = belief.unknowns.degrees_of_freedom;
  Outset outset{job,
                belief,
                unbalance_with(job, belief.planes, fitted),
                next_readings_with(job, belief, fitted),
                row_levels(job, belief),
                0.0,
                OutlookDraws(components, samples_of(components, outlook_samples / 4), freedom, outlook_seed),
                OutlookDraws(components, samples_of(components, outlook_samples), freedom, outlook_seed)};
  outset.variance = over_targets(outset, predicted_phasors(belief, outset.correction).covariance);
  return outset;
}

/// A run to be made, and what it would read.
struct NextRun {
  Eigen::VectorXcd unbalance;
  PhasorDistribution readings;
};

NextRun run_with(const Outset& outset, const SlotChange& change) {
  const auto fitted = fitted_after(outset.job, {change});
  return {unbalance_with(outset.job, outset.belief.planes, fitted),
          next_readings_with(outset.job, outset.belief, fitted)};
}

/// What that run would take off the covariance of what the correction leaves.
Eigen::MatrixXd told(const Outset& outset, const NextRun& run) {
  return told_by_one_more_run(outset.belief, outset.correction, run.unbalance, run.readings.covariance);
}

/// Probability that the correction planned meets every target, once that run is made.
double success_after(const Outset& outset, const NextRun& run) {
  PhasorDistribution then = outset.corrected;
  then.covariance -= told(outset, run);
  return outlook_of(then, outset.levels, outset.draws).meets_targets;
}

double risk_of(const Outset& outset, const NextRun& run, const OutlookDraws& draws) {
  return 1.0 - outlook_of(run.readings, outset.levels, draws).meets_limits;
}

TrialCandidate judged(const Outset& outset, const SlotChange& change,
                      const std::vector<KnownEffect>& effects) {
  TrialCandidate candidate = candidate_of(outset.job, change);
  const NextRun run = run_with(outset, change);
  candidate.variance_left = 1.0 - over_targets(outset, told(outset, run)) / outset.variance;
  candidate.exceeds_limit = risk_of(outset, run, outset.scan);
  candidate.headroom_share = headroom_share(effects, moment_added(outset.job, change));
  return candidate;
}

bool keeps_headroom(const TrialCandidate& one) { return *one.headroom_share <= trial_headroom_share; }

/// The candidate that tells most at an acceptable risk and within the headroom; the safest where no risk is
/// acceptable, of those with an acceptable one the smallest where there is too little headroom for any.
const TrialCandidate& best_of(const std::vector<TrialCandidate>& candidates) {
  const auto safest =
      std::min_element(candidates.begin(), candidates.end(),
                       [](const auto& a, const auto& b) { return *a.exceeds_limit < *b.exceeds_limit; });
  if (*safest->exceeds_limit > acceptable_risk) return *safest;
  const auto safe = [](const TrialCandidate& one) { return *one.exceeds_limit <= acceptable_risk; };
  const auto smallest =
      std::min_element(candidates.begin(), candidates.end(), [&](const auto& a, const auto& b) {
        return std::pair(!safe(a), *a.headroom_share) < std::pair(!safe(b), *b.headroom_share);
      });
  if (!keeps_headroom(*smallest)) return *smallest;
  double least = 1.0;
  for (const auto& one : candidates)
    if (safe(one) && keeps_headroom(one)) least = std::min(least, *one.variance_left);
  const TrialCandidate* best = nullptr;
  for (const auto& one : candidates)
    if (safe(one) && keeps_headroom(one) && *one.variance_left <= least + information_indifference &&
        (best == nullptr || std::pair(*one.exceeds_limit, *one.variance_left) <
                                std::pair(*best->exceeds_limit, *best->variance_left)))
      best = &one;
  return *best;
}

/// The best of each plane and weight, the best of all first, then by what they leave open. Those that the
/// deadline leaves no time for are left out, but for the first.
std::vector<TrialCandidate> shown(const Outset& outset, const std::vector<TrialCandidate>& all,
                                  Deadline deadline) {
  std::map<std::pair<std::size_t, std::string>, std::vector<TrialCandidate>> groups;
  for (const auto& one : all) groups[{one.change.plane, one.change.fit->weight_id}].push_back(one);
  std::vector<TrialCandidate> list;
  for (const auto& [key, group] : groups) list.push_back(best_of(group));
  const auto first = list.begin() + (&best_of(list) - list.data());
  std::rotate(list.begin(), first, first + 1);
  std::size_t told_of = 0;
  for (; told_of < list.size() && (told_of == 0 || !deadline.passed_now()); ++told_of) {
    const NextRun run = run_with(outset, list[told_of].change);
    list[told_of].exceeds_limit = risk_of(outset, run, outset.draws);
    list[told_of].meets_targets = success_after(outset, run);
  }
  list.resize(told_of);
  std::sort(list.begin(), list.end(),
            [](const auto& a, const auto& b) { return *a.variance_left < *b.variance_left; });
  const auto best = std::find_if(list.begin(), list.end(),
                                 [best = &best_of(list)](const auto& one) { return &one == best; });
  std::rotate(list.begin(), best, best + 1);
  return list;
}

bool has_catalogue(const Plane& plane) { return plane.slots && !plane.weights.empty(); }

bool in(const std::vector<std::size_t>& planes, std::size_t plane) {
  return std::find(planes.begin(), planes.end(), plane) != planes.end();
}

/// Planes to choose from: the one named, or those the trim may use.
std::vector<std::size_t> open_planes(const Job& job, const TrialKnowledge& known, const TrialChoice& choice) {
  if (choice.plane) return {*choice.plane};
  std::vector<std::size_t> planes;
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    if (has_catalogue(job.rotor.planes[p]) && (known.planes.empty() || in(known.planes, p)))
      planes.push_back(p);
  return planes;
}

bool was_changed(const Job& job, std::size_t plane) {
  std::optional<std::complex<double>> first;
  for (std::size_t r = 0; r < job.runs.size(); ++r) {
    if (job.runs[r].set_aside) continue;
    const auto u = run_unbalance(job, r)[plane];
    if (first && *first != u) return true;
    first = u;
  }
  return false;
}

/// The plane that needs a trial most: none tried it yet, easily reached, first in the rotor file.
std::size_t first_unknown(const Job& job, const std::vector<std::size_t>& planes) {
  return *std::min_element(planes.begin(), planes.end(), [&](std::size_t a, std::size_t b) {
    const auto rank = [&](std::size_t p) {
      return std::tuple(was_changed(job, p), job.rotor.planes[p].access == Access::hard, p);
    };
    return rank(a) < rank(b);
  });
}

void add_correction(const Outset& outset, const TrimPlan& trim, TrialAdvice& advice) {
  CorrectionAtOnce once{trim.outlook->meets_targets, 1.0 - trim.outlook->meets_limits, 0.0};
  const double again = success_after(outset, {outset.correction, outset.corrected});
  once.expected_runs = 1.0 + (1.0 - once.meets_targets) / std::max({again, once.meets_targets, least_hope});
  advice.at_once = once;
}

/// "one run", "2 runs", "2.4 runs": a mean number of runs, at least one.
std::string runs_words(double mean) {
  const double tenths = std::round(10.0 * mean) / 10.0;
  return tenths == 1.0 ? "one run" : fmt::format("{:g} runs", tenths);
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

/// The numbers below `count`, each once: whatever part is taken of them, from the first on, is spread evenly.
std::vector<std::size_t> evenly_spread(std::size_t count) {
  std::size_t stride = std::max<std::size_t>(1, static_cast<std::size_t>(0.618 * static_cast<double>(count)));
  while (std::gcd(stride, count) != 1) ++stride;
  std::vector<std::size_t> numbers(count);
  for (std::size_t i = 0; i < count; ++i) numbers[i] = i * stride % count;
  return numbers;
}

/// Every change in turn until the deadline, at least one; in the order of `changes`.
std::vector<TrialCandidate> all_judged(const Outset& outset,
                                       const std::vector<std::pair<SlotChange, std::size_t>>& changes,
                                       const std::vector<std::vector<KnownEffect>>& effects,
                                       Deadline deadline) {
  std::vector<std::optional<TrialCandidate>> found(changes.size());
  for (std::size_t looked_at = 0; const std::size_t i : evenly_spread(changes.size())) {
    if (looked_at++ > 0 && deadline.passed_now()) break;
    found[i] = judged(outset, changes[i].first, effects[changes[i].second]);
  }
  std::vector<TrialCandidate> all;
  for (auto& one : found)
    if (one) all.push_back(*std::move(one));
  return all;
}

/// Planes whose effect is known with its uncertainty.
Result<TrialAdvice> by_information(const Job& job, const TrialKnowledge& known, const TrialChoice& choice,
                                   const std::vector<std::size_t>& planes) {
  const Outset outset = outset_of(job, *known.model->belief, *known.trim);
  TrialAdvice advice;
  add_correction(outset, *known.trim, advice);
  std::vector<std::pair<SlotChange, std::size_t>> open;  // and which effects are its plane's
  std::vector<std::vector<KnownEffect>> effects;
  std::optional<Error> why_none;
  for (const std::size_t plane : planes) {
    const auto changes = trial_changes(job, plane, choice, known.limits);
    if (!changes) why_none = changes.error();
    if (!changes) continue;
    for (const auto& change : *changes) open.emplace_back(change, effects.size());
    effects.push_back(effects_by_model(job, *known.model, plane));
  }
  if (open.empty()) return tl::unexpected(*why_none);
  const Deadline deadline = known.asked != nullptr ? known.asked->deadline() : Deadline::never();
  const auto all = all_judged(outset, open, effects, deadline.after_share(0.7));
  if (all.size() < open.size())
    advice.notes.push_back(fmt::format(
        "{} before every trial weight was weighed: {} of {} were, spread evenly over planes, slots and "
        "weights. {}",
        what_ended(*known.asked), all.size(), open.size(), run_again(*known.asked)));
  advice.candidates = shown(outset, all, deadline);
  advice.expected_runs = 1.0 + 1.0 / std::max(*advice.advised().meets_targets, least_hope);
  decide(advice);
  for (const auto& row : known.trim->not_predicted)
    advice.notes.push_back("NOT PREDICTED, and not in these chances: " +
                           place_words(job, row.place.speed, row.place.sensor) + ". Watch it in the run.");
  if (*advice.advised().exceeds_limit > acceptable_risk)
    advice.notes.push_back(
        fmt::format("No trial weight at hand keeps the chance of a reading above its limit below {:.0f} %: "
                    "the safest is shown. Stay below the speeds where the limit is near.",
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
              : "The weight is the heaviest in stock that pulls with less than 10 % of the rotor's weight at "
                "the highest speed (common practice, no published source): nothing tells yet what it does.");
  if (!choice.slot)
    advice.notes.push_back(!sized    ? "The slot is the free one that comes first from the reference tooth: "
                                       "where the heavy spot is, nothing tells yet. An earlier job of this "
                                       "serial or rotor type would (--earlier)."
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
  const auto planes = open_planes(job, known, choice);
  if (planes.empty()) return fail("no plane has slots and a catalogue", "a plane with slots and weights");
  if ((choice.slot || choice.weight_id) && planes.size() > 1)
    return fail("a slot or a weight is named, and several planes have some", "the plane as well");
  const auto* model = known.model;
  std::vector<std::size_t> unknown;
  for (const std::size_t plane : planes)
    if (model == nullptr || !in(model->planes, plane)) unknown.push_back(plane);
  if (!unknown.empty()) return by_the_rule(job, known, choice, first_unknown(job, unknown));
  const bool sure = model->belief && known.trim != nullptr && known.trim->outlook && known.trim->has_slots();
  if (!sure) return by_the_rule(job, known, choice, first_unknown(job, planes));
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
        choice.weight_id ? "" : ", and none at hand by less: approach the highest speeds with care"));
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

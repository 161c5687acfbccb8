#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.hpp"
#include "trial_information.hpp"
#include "trial_weights.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

/// The speed points that an owed run reaches, and in words the speeds at which no run has read anything.
std::pair<std::vector<std::size_t>, std::string> speeds_reached(const Job& job, const OwedRun& run) {
  std::vector<std::size_t> points;
  std::string unread;
  for (const double rpm : run.speeds_rpm) {
    const std::size_t before = points.size();
    for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s)
      if (same_speed(job.rotor, job.speeds_rpm[s], rpm)) points.push_back(s);
    if (points.size() == before) unread += (unread.empty() ? "" : ", ") + speed_words(job.rotor, rpm);
  }
  std::sort(points.begin(), points.end());
  points.erase(std::unique(points.begin(), points.end()), points.end());
  return {points, unread};
}

/// Runs until every target is met after the owed run with `fitted`, the owed run not counted.
double runs_after(const TrialOutset& owed, const TrialOutset& full,
                  const std::vector<FittedWeights>& fitted) {
  const auto after = belief_after(owed, owed.belief, fitted);
  const double now = success_after(owed, after);
  return runs_to_go(now, success_after(full, belief_after(full, after, full.corrected)));
}

/// The same with the correction planned; an owed run that reads every row is its check run.
double runs_corrected(const TrialOutset& owed, const TrialOutset& full, double meets_targets) {
  if (owed.read.size() < full.read.size()) return runs_after(owed, full, owed.corrected);
  const auto after = belief_after(full, full.belief, full.corrected);
  return runs_to_go(meets_targets, success_after(full, after)) - 1.0;
}

std::string weight_in_slot(const Job& job, const TrialCandidate& one) {
  return fmt::format("{} in slot {} of {}", one.change.fit->weight_id, one.change.slot,
                     job.rotor.planes[one.change.plane].name);
}

void decide_owed(const Job& job, double exceeds_limit, OwedRunAdvice& advice) {
  const double saves = std::round(10.0 * advice.saves()) / 10.0;
  advice.worth_making = saves > 0.0;
  const std::string after = fmt::format("Until every target is met it takes {} after it as the rotor stands",
                                        runs_words(advice.runs_as_it_stands));
  advice.reason =
      advice.worth_making
          ? fmt::format(
                "{} for {}: saves {:.1f} run{}. {}, and {} after it with that. The chance that it exceeds a "
                "limit is {}.",
                advice.correction ? "The planned correction" : weight_in_slot(job, advice.candidates.front()),
                advice.run.name, saves, saves > 1.0 ? "s" : "", after, runs_words(advice.runs_after),
                percent_words(exceeds_limit))
          : fmt::format("{}: nothing that could be fitted for it saves a run. {}.", advice.run.name, after);
}

OwedRunAdvice owed_advice(const Job& job, const TrialKnowledge& known, const TrialChoice& choice,
                          const std::vector<std::size_t>& planes, const OwedRun& run) {
  OwedRunAdvice advice{run, {}, {}, false, false, 0.0, 0.0, {}};
  std::string unread;
  std::tie(advice.speeds, unread) = speeds_reached(job, run);
  const auto& rows = known.model->belief->rows;
  if (std::none_of(rows.begin(), rows.end(), [&](const auto& row) {
        return std::find(advice.speeds.begin(), advice.speeds.end(), row.first) != advice.speeds.end();
      })) {
    advice.reason =
        run.name + ": no run so far has read anything at its speeds, so it tells nothing of this trim.";
    return advice;
  }
  const TrialOutset owed(job, *known.model->belief, *known.trim, &advice.speeds);
  const TrialOutset full(job, *known.model->belief, *known.trim);
  advice.runs_as_it_stands = advice.runs_after = runs_after(owed, full, job.fitted_now);
  double exceeds_limit = risk_of(owed, owed.corrected, owed.risk);
  if (exceeds_limit <= acceptable_risk) {
    advice.correction = true;
    advice.runs_after = runs_corrected(owed, full, known.trim->outlook->meets_targets);
  }
  if (const auto all = judged_candidates(owed, known, choice, planes)) {
    advice.candidates = best_candidates(owed, all->all, deadline_of(known));
    const TrialCandidate& best = advice.candidates.front();
    const bool may = *best.exceeds_limit <= acceptable_risk && *best.headroom_share <= trial_headroom_share;
    const double runs = runs_after(owed, full, fitted_after(job, {best.change}));
    if (may && runs < advice.runs_after) {
      advice.correction = false;
      advice.runs_after = runs;
      exceeds_limit = *best.exceeds_limit;
    } else if (!advice.correction) {
      advice.runs_after = advice.runs_as_it_stands;
    }
  }
  decide_owed(job, exceeds_limit, advice);
  if (!unread.empty())
    advice.reason +=
        " At " + unread + " no run so far has read anything: what it reads there is not counted.";
  return advice;
}

}  // namespace

std::vector<OwedRunAdvice> advise_owed_runs(const Job& job, const TrialKnowledge& known,
                                            const TrialChoice& choice, const std::vector<OwedRun>& runs) {
  const auto planes = trial_planes(job, known, choice);
  const bool all_known =
      tells_chances(known) && std::all_of(planes.begin(), planes.end(), [&](std::size_t plane) {
        const auto& told = known.model->planes;
        return std::find(told.begin(), told.end(), plane) != told.end();
      });
  std::vector<OwedRunAdvice> all;
  for (const auto& run : runs) {
    if (all_known) {
      all.push_back(owed_advice(job, known, choice, planes, run));
      continue;
    }
    OwedRunAdvice advice{run, speeds_reached(job, run).first, {}, false, false, 0.0, 0.0, {}};
    advice.reason =
        run.name +
        ": what it would save cannot be said, as nothing tells yet how surely a weight in every plane "
        "acts (a prior of the rotor type would).";
    if (const auto next = advise_trial(job, known, choice);
        next && next->worth_making && next->can_be_completed)
      advice.reason += " The trial weight that is recommended, " + weight_in_slot(job, next->advised()) +
                       ", may be fitted for it, where its speeds are those of a trial run.";
    all.push_back(std::move(advice));
  }
  return all;
}

}  // namespace trimwright

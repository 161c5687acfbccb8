#pragma once

#include <vector>

#include "forecast/outlook.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {

/// What is planned, and what is known now; the yardstick for every run that may come next.
struct TrialOutset {
  const Job& job;
  const InfluencePosterior& belief;
  std::vector<FittedWeights> corrected;  ///< with the correction planned
  Eigen::VectorXcd correction;           ///< U of the belief's planes then
  RowLevels levels;
  std::vector<Eigen::Index> read;  ///< rows of the belief that the run reads
  double variance = 0.0;           ///< of the predicted residual over the targets, now
  OutlookDraws scan, risk;         ///< of what is read
  OutlookDraws draws;              ///< of all rows

  /// A run that reads every row, or (`speeds`) those at some speed points.
  TrialOutset(const Job& job, const InfluencePosterior& belief, const TrimPlan& trim,
              const std::vector<std::size_t>* speeds = nullptr);
};

/// Planes to choose from: the one named, or those the trim may use.
[[nodiscard]] std::vector<std::size_t> trial_planes(const Job& job, const TrialKnowledge& known,
                                                    const TrialChoice& choice);

/// Whether chances can be told of a correction.
[[nodiscard]] bool tells_chances(const TrialKnowledge& known);

/// `belief` after a run with `fitted` that reads what the outset says.
[[nodiscard]] InfluencePosterior belief_after(const TrialOutset& outset, const InfluencePosterior& belief,
                                              const std::vector<FittedWeights>& fitted);

/// Probability that the correction planned meets every target, once `belief` is what is known.
[[nodiscard]] double success_after(const TrialOutset& outset, const InfluencePosterior& belief);

/// Probability that a run with `fitted` reads something above its limit.
[[nodiscard]] double risk_of(const TrialOutset& outset, const std::vector<FittedWeights>& fitted,
                             const OutlookDraws& draws);

/// Candidates judged roughly, and how many there are.
struct JudgedCandidates {
  std::vector<TrialCandidate> all;  ///< in order; those that there was time for, spread evenly, one at least
  std::size_t of = 0;
};

/// Those of some planes. Errors: those of `trial_changes`, where no plane has any.
[[nodiscard]] Result<JudgedCandidates> judged_candidates(const TrialOutset& outset,
                                                         const TrialKnowledge& known,
                                                         const TrialChoice& choice,
                                                         const std::vector<std::size_t>& planes);

/// The best of each plane and weight, the best of all first, then by what they leave open. Those that
/// `deadline` leaves no time for are left out, but for the first.
[[nodiscard]] std::vector<TrialCandidate> best_candidates(const TrialOutset& outset,
                                                          const std::vector<TrialCandidate>& all,
                                                          Deadline deadline);

/// When the search for a trial has to end.
[[nodiscard]] Deadline deadline_of(const TrialKnowledge& known);

/// Runs until every target is met, on average: a correction that succeeds with probability `now`, else
/// further ones with `again`.
[[nodiscard]] double runs_to_go(double now, double again);

/// "one run", "2 runs", "2.4 runs": a mean number of runs.
[[nodiscard]] std::string runs_words(double mean);

/// Below this a probability of success counts as this much when runs are foretold.
inline constexpr double least_hope = 0.05;

}  // namespace trimwright

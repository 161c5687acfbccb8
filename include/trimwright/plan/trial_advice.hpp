#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/plan/balance_plan.hpp"

namespace trimwright {

/// A trial run as a person asks for it; what is left empty is advised.
struct TrialChoice {
  std::optional<std::size_t> plane;
  std::optional<int> slot;
  std::optional<std::string> weight_id;

  [[nodiscard]] bool anything() const { return plane || slot || weight_id; }
};

/// Share of the rotor's weight that a trial weight's centrifugal force may reach where nothing is known of
/// its effect (common practice, no published source).
inline constexpr double trial_force_share = 0.10;

/// Chance of a reading above its limit that a run may have to be advised; our own figure.
inline constexpr double acceptable_risk = 0.05;

/// Shares of variance left this close count as equal when the safer trial is preferred; our own figure.
inline constexpr double information_indifference = 0.02;

/// A weight in a slot, and what a run with it would be worth.
struct TrialCandidate {
  SlotChange change;
  double force_n = 0.0;               ///< centrifugal, at the highest speed point
  std::optional<double> force_share;  ///< of the rotor's weight, where its mass is known
  /// Share of the variance of the next correction's residual that is left after the run. Empty, as are the
  /// others: the effect of the plane is not known.
  std::optional<double> variance_left;
  std::optional<double> exceeds_limit;  ///< probability that some reading of the run is above its limit
  std::optional<double> meets_targets;  ///< probability of the correction that follows
};

/// The correction that could be fitted without a further trial.
struct CorrectionAtOnce {
  double meets_targets = 0.0;  ///< probability, every reading
  double exceeds_limit = 0.0;
  double expected_runs = 0.0;  ///< further runs until the targets are met
};

/// Whether the next run should be a trial, and which.
struct TrialAdvice {
  bool worth_making = true;
  std::string reason;
  std::optional<CorrectionAtOnce> at_once;  ///< empty where no probability is known
  std::optional<double> expected_runs;      ///< with the trial, as above
  std::vector<TrialCandidate> candidates;   ///< the advised one first, then the best of each plane and weight
  std::vector<std::string> notes;

  [[nodiscard]] const TrialCandidate& advised() const { return candidates.front(); }
};

/// What is known when a trial is advised: a model and the trim planned on it, where the runs (or a prior)
/// allow any.
struct TrialKnowledge {
  const InfluenceModel* model = nullptr;
  const TrimPlan* trim = nullptr;
  std::vector<std::size_t> planes{};  ///< those a trim may use; empty: all
  FittingLimits limits{};             ///< what the job asks of the weights; its planes empty: all
};

/// Which catalogue weight in which slot, for the next trial run.
///
/// In planes whose effect is known with its uncertainty: the run that leaves the least variance of the
/// residual which the planned correction would have, in units of the targets: A-optimality for those linear
/// functions of the coefficients (A. C. Atkinson, A. N. Donev and R. D. Tobias, *Optimum Experimental
/// Designs, with SAS*, 2007, on criteria of optimality), among those with at most `acceptable_risk` of a
/// reading above its limit, jointly; the safer of those as good within `information_indifference`. Where the
/// effect is not known: the heaviest weight in stock whose centrifugal force stays below `trial_force_share`
/// of the rotor's weight, opposite the heavy spot where it can be estimated, else in the free usable slot
/// that comes first from the reference tooth.
///
/// A trial is worth making when it is expected to save runs: about 1 + 1/q runs follow with it, and
/// 1 + (1 - p)/q' without, p, q and q' being the probabilities of the correction now, after the trial, and
/// after the correction has itself served as one. Where a plane is not known yet, a correction by the others
/// is fitted at once when that saves runs.
/// Errors: no such plane, slot or weight; no stock; no slots; no readings; where the rule is needed, no rotor
/// mass or every weight too heavy.
[[nodiscard]] Result<TrialAdvice> advise_trial(const Job& job, const TrialKnowledge& known,
                                               const TrialChoice& choice);

/// The steps of a trial run with `change` made to what is fitted now. Stop levels are the limits; what is to
/// be expected is told where the model knows the plane.
[[nodiscard]] BalancePlan trial_steps(const Job& job, const SlotChange& change,
                                      const InfluenceModel* model = nullptr);

/// One step instead, that says why no trial run is worth making.
[[nodiscard]] BalancePlan no_trial_steps(const TrialAdvice& advice);

}  // namespace trimwright

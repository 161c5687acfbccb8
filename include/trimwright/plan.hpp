#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

enum class StepKind {
  settle_first,  ///< nothing is to be fitted yet (`Trust`): the steps after it are for when that is settled
  make_safe,
  confirm_numbering,
  count_fitted,
  take_out,
  put_in,
  second_check,
  torque_and_locking,
  run,
  compare,
  stop_levels,
  if_it_differs,
  do_nothing
};

/// One thing to do, with its particulars; `sign` asks for a name beside it.
struct Step {
  StepKind kind = StepKind::make_safe;
  std::string instruction;
  std::vector<std::string> particulars;
  bool sign = false;
};

/// What one place should read in the next run. Amplitudes are peak, in the sensor's unit symbol.
struct ExpectedReading {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::optional<Phasor> expected;    ///< empty where nothing predicts it
  std::optional<double> differs_by;  ///< Prediction::differs_by
  double stop_above = 0.0;           ///< end the run when it is exceeded: the limit
  std::optional<double> target{};
  std::optional<double>
      last_read{};  ///< amplitude in the last run made with what is fitted now, else in the last
};

/// What the technician does next, step by step.
struct BalancePlan {
  enum class Kind { trim, trial };
  Kind kind = Kind::trim;
  std::vector<SlotChange> changes;
  std::vector<Step> steps;
  std::vector<ExpectedReading> expected;  ///< every place to run, predicted or not, by speed, then sensor
  std::vector<std::string> cautions;
  std::vector<std::string> warnings;  ///< what speaks against carrying it out as it stands
};

/// The steps that carry out `trim` (its chosen row), or the moments of its correction in planes without
/// slots.
[[nodiscard]] BalancePlan plan_steps(const Job& job, const TrimPlan& trim);

/// Every place that the next run reads, with its prediction where there is one.
[[nodiscard]] std::vector<ExpectedReading> readings_to_take(const Job& job,
                                                            const std::vector<Prediction>& predictions);

/// Who signs a sheet, in order: "Fitted by", ...
[[nodiscard]] const std::vector<std::string>& signature_roles();

/// What every output says about the hazard and about who decides.
[[nodiscard]] const std::vector<std::string>& cautions();

/// A trial run as a person asks for it; what is left empty is advised.
struct TrialChoice {
  std::optional<std::size_t> plane;
  std::optional<int> slot;
  std::optional<std::string> weight_id;

  [[nodiscard]] bool anything() const { return plane || slot || weight_id; }
};

/// Share of what is left below a limit that a trial weight may be expected to change a reading by (common
/// practice, no published source).
inline constexpr double trial_headroom_share = 0.70;

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
  /// Largest expected change of a reading over what is left there below the limit with what is fitted now
  /// (infinite: nothing is left).
  std::optional<double> headroom_share{};
};

/// The correction that could be fitted without a further trial.
struct CorrectionAtOnce {
  double meets_targets = 0.0;  ///< probability, every reading
  double exceeds_limit = 0.0;
  double expected_runs = 0.0;  ///< further runs until the targets are met
};

/// A run that is owed anyway (a leak check, a power assurance run), and the speeds it reaches.
struct OwedRun {
  std::string name;
  std::vector<double> speeds_rpm;
};

/// What to fit for an owed run so that it counts for the trim.
struct OwedRunAdvice {
  OwedRun run;
  std::vector<std::size_t> speeds;         ///< speed points of the job that it reaches
  std::vector<TrialCandidate> candidates;  ///< the best first; empty: nothing can be said
  bool worth_making = false;               ///< fitting something for it saves a tenth of a run or more
  bool correction = false;                 ///< what is best is the planned correction, no candidate
  /// Runs until every target is met, the owed one not counted: with what is fitted now, and with the best.
  double runs_as_it_stands = 0.0, runs_after = 0.0;
  std::string reason;

  [[nodiscard]] double saves() const { return runs_as_it_stands - runs_after; }
};

/// Whether the next run should be a trial, and which.
struct TrialAdvice {
  bool worth_making = true;
  bool can_be_completed = true;  ///< false: at every speed a level is above its limit with what is fitted now
  std::string reason;
  std::optional<CorrectionAtOnce> at_once;  ///< empty where no probability is known
  std::optional<double> expected_runs;      ///< with the trial, as above
  std::vector<TrialCandidate> candidates;   ///< the advised one first, then the best of each plane and weight
  std::vector<std::string> notes;
  std::vector<OwedRunAdvice> owed{};  ///< of runs that are owed anyway, in their order

  [[nodiscard]] const TrialCandidate& advised() const { return candidates.front(); }
};

/// How weights acted in an earlier job of this serial or rotor type, or in a fleet.
struct EarlierEffects {
  std::string from;  ///< the job or prior
  std::vector<PriorCoefficient> coefficients;
};

/// From the last of `jobs` on this serial, else on this rotor type, whose runs settle how planes act.
[[nodiscard]] std::optional<EarlierEffects> earlier_effects(const Job& job,
                                                            const std::vector<FleetJob>& jobs);

/// What is known when a trial is advised: a model and the trim planned on it, where the runs (or a prior)
/// allow any.
struct TrialKnowledge {
  const InfluenceModel* model = nullptr;
  const TrimPlan* trim = nullptr;
  std::vector<std::size_t> planes{};  ///< those a trim may use; empty: all
  FittingLimits limits{};             ///< what the job asks of the weights; its planes empty: all
  const EarlierEffects* earlier = nullptr;
  const TrimRequest* asked = nullptr;  ///< whose deadline ends the search for a trial; none: nothing does
};

/// Which catalogue weight in which slot, for the next trial run.
///
/// In planes whose effect is known with its uncertainty: the run that leaves the least variance of the
/// residual which the planned correction would have, in units of the targets: A-optimality for those linear
/// functions of the coefficients (A. C. Atkinson, A. N. Donev and R. D. Tobias, *Optimum Experimental
/// Designs, with SAS*, 2007, on criteria of optimality), among those with at most `acceptable_risk` of a
/// reading above its limit, jointly, and with an expected change of every reading below
/// `trial_headroom_share` of what is left there below the limit; the safer of those as good within
/// `information_indifference`. Where the effect is known without its uncertainty, from the runs or from an
/// earlier job: the heaviest that this share allows and that the estimated unbalance asks for, opposite the
/// heavy spot. Where nothing is known: the heaviest weight in stock whose centrifugal force stays below
/// `trial_force_share` of the rotor's weight, in the free usable slot that comes first from the reference
/// tooth.
///
/// A trial is worth making when it is expected to save runs: about 1 + 1/q runs follow with it, and
/// 1 + (1 - p)/q' without, p, q and q' being the probabilities of the correction now, after the trial, and
/// after the correction has itself served as one. Where a plane is not known yet, a correction by the others
/// is fitted at once when that saves runs.
/// Where the risk cannot be told, a speed at which a level is above its limit with what is fitted now is not
/// run; where that is every speed, no trial is worth making.
/// Where the deadline comes before every weight in every slot was weighed, the best of those that were; the
/// notes tell it.
/// Errors: no such plane, slot or weight; no stock; no slots; no readings; where the rule is needed, no rotor
/// mass or every weight too heavy.
[[nodiscard]] Result<TrialAdvice> advise_trial(const Job& job, const TrialKnowledge& known,
                                               const TrialChoice& choice);

/// For each owed run the weight or correction that is to be fitted for it, each as if it came next:
/// information and risk as `advise_trial` reckons them, of the speeds that it reaches. After it 1 + (1 -
/// q)/q' runs follow, q being the probability of the correction then and q' the same once the correction has
/// been run. Where the effect of a plane is not known with its uncertainty nothing is chosen, and `reason`
/// says so.
[[nodiscard]] std::vector<OwedRunAdvice> advise_owed_runs(const Job& job, const TrialKnowledge& known,
                                                          const TrialChoice& choice,
                                                          const std::vector<OwedRun>& runs);

/// The steps of a trial run with `change` made to what is fitted now. Stop levels are the limits; what is to
/// be expected is told where the model knows the plane.
[[nodiscard]] BalancePlan trial_steps(const Job& job, const SlotChange& change,
                                      const InfluenceModel* model = nullptr);

/// One step instead, that says why no trial run is worth making.
[[nodiscard]] BalancePlan no_trial_steps(const TrialAdvice& advice);

/// A job to be planned through.
struct PlanProblem {
  Job job;
  TrimRequest request;
  const Prior* prior = nullptr;
  bool amplitudes_only = false;                        ///< the phases were lost
  std::optional<std::vector<FittedWeights>> fitted{};  ///< a person's own choice; empty: the planner chooses
  std::string fitted_file{};                           ///< that it was read from, for messages
};

/// From a job to the steps that carry out its plan.
struct PlannedJob {
  Job job;  ///< its convention settled
  InfluenceModel model;
  TrimPlan trim;
  BalancePlan steps;
  bool check_held_back = false;  ///< the last run was made with the choice and took no part in the model
};

/// Settles the model, plans the trim (or the choice) and its steps, all within the request's time limit. A
/// last run that was made with the choice takes no part in the model: a plan is not fitted to what it is
/// compared with. Errors: the rotor's `to_confirm` is not empty; those of `settle_and_fit`, `plan_trim` and
/// `plan_choice`; with `amplitudes_only`, too few amplitudes to settle the phases.
[[nodiscard]] Result<PlannedJob> plan_job(PlanProblem problem);
/// The same with nothing asked for but the job: every plane, limits and targets as the rotor has them.
[[nodiscard]] inline Result<PlannedJob> plan_job(const Job& job) { return plan_job({job, {}}); }

/// Whether a run was made with what `fitted` says of the slots (one entry per plane) and has readings to
/// compare.
[[nodiscard]] bool made_with(const Run& run, const std::vector<FittedWeights>& fitted);

/// The next trial run of a job, with its steps; or why none is worth making.
struct PlannedTrial {
  Job job;  ///< its convention settled, as far as the runs tell
  TrialAdvice advice;
  BalancePlan steps;
};

/// What the runs tell so far, the trim planned on it, and `advise_trial` by both. Runs that tell nothing, or
/// that contradict the declared conventions, are no error: the advice then relies on none of them and notes
/// why. Errors: those of `advise_trial`; a prior that does not fit the job; the rotor's `to_confirm` is not
/// empty.
[[nodiscard]] Result<PlannedTrial> plan_trial(const Job& job, const TrimRequest& request, const Prior* prior,
                                              const TrialChoice& choice,
                                              const EarlierEffects* earlier = nullptr,
                                              const std::vector<OwedRun>& owed = {});

}  // namespace trimwright

#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/influence/influence_model.hpp"
#include "trimwright/plan/trial_advice.hpp"

namespace trimwright {

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
/// compared with. Errors: those of `settle_and_fit` or `settle_by_amplitudes`, `plan_trim` and `plan_choice`.
[[nodiscard]] Result<PlannedJob> plan_job(PlanProblem problem);

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
/// why. Errors: those of `advise_trial`; a prior that does not fit the job.
[[nodiscard]] Result<PlannedTrial> plan_trial(const Job& job, const TrimRequest& request, const Prior* prior,
                                              const TrialChoice& choice);

}  // namespace trimwright

#include "trimwright/plan.hpp"

#include <algorithm>

#include "influence/amplitude_model.hpp"
#include "runs/next_steps.hpp"
#include "runs/used_runs.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {
namespace {

/// Takes the last run out of the job when it was made with `fitted`. A run with known changes stays: they
/// hold from it on.
std::optional<Run> held_back(Job& job, const std::optional<std::vector<FittedWeights>>& fitted) {
  if (!fitted || job.runs.size() < 2 || !made_with(job.runs.back(), *fitted) ||
      !job.runs.back().changes.empty())
    return std::nullopt;
  std::optional<Run> check = std::move(job.runs.back());
  job.runs.pop_back();
  return check;
}

/// A job with what its runs tell, as far as they do.
struct Told {
  Job job;
  std::optional<InfluenceModel> model;
  std::optional<TrimPlan> trim;
  std::vector<std::string> notes;
};

Result<Told> told_by(const Job& job, TrimRequest request, const Prior* prior) {
  Told told{job, {}, {}, {}};
  auto settled = settle_and_fit(job, request.planes, prior);
  if (!settled && prior != nullptr) return tl::unexpected(settled.error());
  if (!settled && !request.planes.empty()) settled = settle_and_fit(job);
  if (!settled) {
    told.notes.push_back("Nothing can be planned on yet: " + settled.error().what + ".");
    return told;
  }
  const Trust trusted = trust(settled->job, settled->model);
  const bool contradicted = trusted.grade == Trust::Grade::contradicted;
  if (!trusted.sound())
    told.notes.push_back("Settle this first (trimwright influence): " + trusted.why + "." +
                         (contradicted ? " Nothing here relies on the runs." : ""));
  if (contradicted) return told;
  told.job = std::move(settled->job);
  told.model = std::move(settled->model);
  std::erase_if(request.planes, [&](std::size_t plane) {
    const auto& known = told.model->planes;
    return std::find(known.begin(), known.end(), plane) == known.end();
  });
  auto trim =
      plan_trim(told.job, *told.model, request, request.deadline().after_share(request.ends ? 0.5 : 1.0));
  if (!trim) told.notes.push_back("No correction can be planned: " + trim.error().what + ".");
  if (trim) told.trim = std::move(*trim);
  return told;
}

}  // namespace

bool made_with(const Run& run, const std::vector<FittedWeights>& fitted) {
  return was_read(run) && std::equal(fitted.begin(), fitted.end(), run.fitted.begin(), run.fitted.end(),
                                     [](const auto& a, const auto& b) { return a.slots == b.slots; });
}

Result<PlannedJob> plan_job(PlanProblem problem) {
  if (auto sure = check_confirmed(problem.job.rotor); !sure) return tl::unexpected(sure.error());
  const Deadline whole = problem.request.deadline();
  auto check = held_back(problem.job, problem.fitted);
  const auto& planes = problem.request.planes;
  auto settled = problem.amplitudes_only ? settle_by_amplitudes(problem.job, planes)
                                         : settle_and_fit(problem.job, planes, problem.prior);
  if (!settled) return tl::unexpected(settled.error());
  auto& [job, model] = *settled;
  // Half of the time is for the verdict on a run that was made with the choice.
  const Deadline deadline = whole.after_share(check ? 0.5 : 1.0);
  auto trim = problem.fitted ? plan_choice(job, model, problem.request, *problem.fitted, deadline)
                             : plan_trim(job, model, problem.request, deadline);
  if (!trim && problem.fitted && trim.error().where.file.empty())
    trim.error().where.file = problem.fitted_file;
  if (!trim) return tl::unexpected(trim.error());
  if (check)
    trim->notes.push_back("Run \"" + check->name + "\" was made with these weights: it took no part.");
  auto steps = plan_steps(job, *trim);
  const bool held = check.has_value();
  if (check) {  // its phases are read as the others were settled to be
    problem.job.runs.push_back(std::move(*check));
    job = with_phase_convention(std::move(problem.job), model.convention);
  }
  return PlannedJob{std::move(job), std::move(model), std::move(*trim), std::move(steps), held};
}

Result<PlannedTrial> plan_trial(const Job& job, const TrimRequest& request, const Prior* prior,
                                const TrialChoice& choice, const EarlierEffects* earlier,
                                const std::vector<OwedRun>& owed) {
  if (auto sure = check_confirmed(job.rotor); !sure) return tl::unexpected(sure.error());
  auto told = told_by(job, request, prior);
  if (!told) return tl::unexpected(told.error());
  const InfluenceModel* model = told->model ? &*told->model : nullptr;
  const TrimPlan* trim = told->trim ? &*told->trim : nullptr;
  const TrialKnowledge known{model,   trim,    request.planes, {request.keep_fitted, request.max_pieces, {}},
                             earlier, &request};
  auto advice = advise_trial(told->job, known, choice);
  if (!advice) return tl::unexpected(advice.error());
  advice->owed = advise_owed_runs(told->job, known, choice, owed);
  advice->notes.insert(advice->notes.begin(), told->notes.begin(), told->notes.end());
  const bool wanted = advice->can_be_completed && (advice->worth_making || choice.anything());
  auto steps = wanted ? trial_steps(told->job, advice->advised().change, model) : no_trial_steps(*advice);
  return PlannedTrial{std::move(told->job), std::move(*advice), std::move(steps)};
}

}  // namespace trimwright

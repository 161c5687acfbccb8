#include "planned.hpp"

#include "base/new_file.hpp"
#include "base/text.hpp"
#include "influence/amplitude_model.hpp"
#include "io/fitted_fields.hpp"
#include "runs/as_found.hpp"
#include "runs/next_steps.hpp"

namespace trimwright {
namespace {

const Prior* prior_of(const JobFile& file) { return file.prior ? &*file.prior : nullptr; }

TrimRequest with(const SearchTime& time, TrimRequest request) {
  time.put_into(request);
  return request;
}

TrimRequest asked(TrimRequest request, const PlanOptions& options) {
  if (options.changes) request.pieces = options.changes;
  options.time.put_into(request);
  request.despite_mirror = options.despite_mirror;
  request.best = options.best;
  request.least_difference = options.least_difference;
  request.both_objectives = options.both_objectives;
  if (options.objective.empty()) return request;
  request.objective_asked = true;
  request.most_probable = options.objective == "probability";
  if (!request.most_probable)
    request.objective =
        options.objective == "least squares" ? SlotObjective::least_squares : SlotObjective::worst_ratio;
  return request;
}

}  // namespace

void SearchTime::put_into(TrimRequest& request) const {
  request.time_limit_s = time_limit_s;
  request.more_time = more_time;
  request.ends = ends;
  request.clock = clock;
}

Result<Planned> planned(JobFile file, const PlanOptions& options) {
  PlanProblem problem{
      file.job, asked(file.request, options), prior_of(file), options.amplitudes_only, {}, options.fitted};
  if (options.check_run) {
    if (const auto run = find_check_run(file.job); !run) return tl::unexpected(run.error());
    problem.fitted = file.job.runs.back().fitted;
    problem.job.fitted_now = fitted_as_found(file.job, file.job.runs.size() - 1);
  }
  if (!options.fitted.empty()) {
    auto fitted = read_fitted_choice(options.fitted, file.job);
    if (!fitted) return tl::unexpected(fitted.error());
    problem.fitted = std::move(*fitted);
    file.sources.push_back(options.fitted);
  }
  auto plan = plan_job(std::move(problem));
  if (!plan) return tl::unexpected(plan.error());
  return Planned{std::move(*plan), std::move(file.prior), std::move(file.sources)};
}

Readiness readiness_of(const JobFile& file, const SearchTime& time) {
  Readiness found = readiness(file.job);
  // As in `judge_job`: half the time for what may have gone wrong, as not all of it looks at the clock.
  compare_newest_run(file.job, found, prior_of(file), with(time, file.request).deadline().after_share(0.5));
  return found;
}

Result<SettledModel> influenced(const JobFile& file, bool amplitudes_only) {
  return amplitudes_only ? settle_by_amplitudes(file.job, file.request.planes)
                         : settle_and_fit(file.job, file.request.planes, prior_of(file));
}

Result<PlannedTrial> trialled(const JobFile& file, const TrialChoice& choice, const SearchTime& time,
                              const EarlierEffects* earlier, const std::vector<OwedRun>& owed) {
  return plan_trial(file.job, with(time, file.request), prior_of(file), choice, earlier, owed);
}

Result<JudgedJob> checked(const JobFile& file, const std::string& run, const SearchTime& time) {
  return judge_job(file.job, with(time, file.request), run, prior_of(file));
}

Error with_next_command(Error error, const JobFile& file, const std::string& path,
                        const std::string& command) {
  if (!error.where.file.empty() || error.where.line == unwritten) return error;
  const NextSteps next = next_steps(file.job, file.prior.has_value());
  if (next.command != command) error.expected += "; next: trimwright " + next.command + " " + one_line(path);
  return error;
}

Result<TrialChoice> trial_choice(const Job& job, const std::string& plane, std::optional<int> slot,
                                 std::optional<std::string> weight) {
  TrialChoice choice{{}, slot, std::move(weight)};
  if (plane.empty()) return choice;
  choice.plane = job.rotor.plane_named(plane);
  if (choice.plane) return choice;
  return fail("--plane: the rotor has no plane \"" + plane + "\"", alternatives(job.rotor.planes));
}

}  // namespace trimwright

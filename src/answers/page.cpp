#include "page.hpp"

#include <algorithm>

#include "plan/steps.hpp"
#include "runs/next_steps.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

/// A plan in particular is asked for.
bool of_a_plan(const PlanOptions& options) {
  return options.changes || !options.fitted.empty() || !options.objective.empty() || options.check_run ||
         options.amplitudes_only || options.despite_mirror;
}

bool nothing_read(const Job& job) {
  return std::all_of(job.runs.begin(), job.runs.end(), [](const Run& run) { return run.readings.empty(); });
}

Result<PageAnswer> page_of_trial(const std::string& path, const PlanOptions& options, const JobFile& file) {
  const auto trial = trialled(file, {}, options.time);
  if (!trial) return tl::unexpected(with_next_command(trial.error(), file, path, "page"));
  return PageAnswer{trial_page(trial->job, trial->advice, trial->steps), file.sources, file.notes};
}

/// A last run that was made with the choice, judged by the model that did not use it, as `check` does: with
/// what it fitted still in. Lost phases judge nothing.
Result<std::optional<Verdict>> verdict_on_choice(const Planned& answer) {
  const PlannedJob& plan = answer.plan;
  if (!plan.check_held_back || plan.model.convention == PhaseConvention::unknown) return std::nullopt;
  Job job = plan.job;
  job.fitted_now = job.runs.back().fitted;
  auto verdict = judge(job, plan.model, job.runs.size() - 1, plan.trim.request, {},
                       answer.prior ? &*answer.prior : nullptr);
  if (!verdict) return tl::unexpected(verdict.error());
  return std::optional(*std::move(verdict));
}

Result<PageAnswer> page_of_plan(const std::string& path, const PlanOptions& options, const JobFile& file) {
  const auto answer = planned(file, options);
  if (!answer) return tl::unexpected(with_next_command(answer.error(), file, path, "page"));
  const auto verdict = verdict_on_choice(*answer);
  if (!verdict) return tl::unexpected(verdict.error());
  const auto& [job, model, trim, steps, held_back] = answer->plan;
  return PageAnswer{
      balance_page(job, model, trim, steps, page_json(job, model, trim), *verdict ? &**verdict : nullptr),
      answer->sources, file.notes, trim.nothing_found(), next_run_name(job, steps)};
}

}  // namespace

Result<PageAnswer> page_of_job(const std::string& path, const PlanOptions& options) {
  auto file = read_job(path);
  if (!file && file.error().where.file != path) return tl::unexpected(file.error());
  if (!file || nothing_read(file->job)) {
    const auto begun = read_job(path, ReadingTables::none_yet);
    if (begun && nothing_read(begun->job) && !of_a_plan(options))
      return PageAnswer{run_sheet_page(begun->job), begun->sources};
  }
  if (!file) return tl::unexpected(file.error());
  if (options.earlier)
    if (auto taken = options.earlier(*file); !taken) return tl::unexpected(taken.error());
  const bool trial_next = next_steps(file->job, file->prior.has_value()).command == "trial";
  if (trial_next && !of_a_plan(options)) return page_of_trial(path, options, *file);
  return page_of_plan(path, options, *file);
}

Result<PageAnswer> run_sheet_of_job(const std::string& path) {
  const auto begun = read_job(path, ReadingTables::none_yet);
  if (!begun) return tl::unexpected(begun.error());
  return PageAnswer{run_sheet_page(begun->job), begun->sources};
}

}  // namespace trimwright

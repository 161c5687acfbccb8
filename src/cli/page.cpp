#include <algorithm>
#include <memory>

#include "commands.hpp"
#include "planned.hpp"
#include "trimwright/check.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* page_example = R"(Examples:
  trimwright page examples/quillhaven/job.yaml -o page.html
      The plan as one HTML file: slots and vibration drawn, what if, a sheet to print. Open it in any browser.
  trimwright page examples/quillhaven/job.yaml --fitted fitted.json -o mine.html
      The same for a choice of weights that was saved on the page.
  trimwright page examples/quillhaven/after.yaml --check-run -o after.html
      After the check run: what was changed against as found, and what "trimwright check" says.
  trimwright page examples/quillhaven/first-visit.yaml -o trial.html
      After a baseline alone: the next trial run. Before any run: a blank run sheet to print.)";

struct PageOptions {
  std::string job;
  PlanOptions plan;
  Output output{"html", {}};

  /// A plan in particular is asked for.
  [[nodiscard]] bool of_a_plan() const {
    return plan.changes || !plan.fitted.empty() || !plan.objective.empty() || plan.check_run ||
           plan.amplitudes_only || plan.despite_mirror;
  }
};

bool nothing_read(const Job& job) {
  return std::all_of(job.runs.begin(), job.runs.end(), [](const Run& run) { return run.readings.empty(); });
}

/// No run changed a weight, and nothing else tells how the planes act: only a trial run can be advised.
bool before_trials(const JobFile& file) {
  const Run* first = nullptr;
  for (const auto& run : file.job.runs) {
    if (run.set_aside || run.readings.empty()) continue;
    if (first == nullptr) first = &run;
    if (!made_with(run, first->fitted)) return false;
  }
  return !file.prior;
}

Status page_of_trial(const PageOptions& options, const JobFile& file) {
  TrimRequest request = file.request;
  request.time_limit_s = options.plan.time_limit_s;
  const auto trial = plan_trial(file.job, request, nullptr, {});
  if (!trial) return complain_of_job(trial.error(), file, options.job, "page");
  return options.output.write(trial_page(trial->job, trial->advice, trial->steps), file.sources);
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

Status page_of_plan(const PageOptions& options, const JobFile& file) {
  const auto answer = planned(file, options.plan);
  if (!answer) return complain_of_job(answer.error(), file, options.job, "page");
  const auto verdict = verdict_on_choice(*answer);
  if (!verdict) return complain(verdict.error());
  const auto& [job, model, trim, steps, held_back] = answer->plan;
  return options.output.write(
      balance_page(job, model, trim, steps, page_json(job, model, trim), *verdict ? &**verdict : nullptr),
      answer->sources);
}

Status page(const PageOptions& options) {
  auto file = open_job(options.job);
  if (!file && file.error().where.file != options.job) return complain(file.error());
  if (!file || nothing_read(file->job)) {
    const auto begun = read_job(options.job, ReadingTables::none_yet);
    if (begun && nothing_read(begun->job) && !options.of_a_plan())
      return options.output.write(run_sheet_page(begun->job), begun->sources);
  }
  if (!file) return complain(file.error());
  if (before_trials(*file) && !options.of_a_plan()) return page_of_trial(options, *file);
  return page_of_plan(options, *file);
}

}  // namespace

void add_page(CLI::App& app, int& status) {
  auto options = std::make_shared<PageOptions>();
  auto* command = app.add_subcommand("page", "The plan as one HTML file to look at, to try out and to print");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  options->plan.add_options(*command);
  command->add_flag("--check-run", options->plan.check_run,
                    "the last run is the check run: its weights against as found, judged by the runs before");
  add_amplitudes_only(*command, options->plan.amplitudes_only);
  options->output.add_path(*command);
  command->footer(page_example);
  command->callback([options, &status] { status = page(*options); });
}

}  // namespace trimwright::cli

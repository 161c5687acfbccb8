#include "planned.hpp"

#include <algorithm>

#include "commands.hpp"
#include "runs/as_found.hpp"
#include "trimwright/files.hpp"

namespace trimwright::cli {
namespace {

TrimRequest asked(TrimRequest request, const PlanOptions& options) {
  if (options.changes) request.pieces = options.changes;
  request.time_limit_s = options.time_limit_s;
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

void PlanOptions::add_options(CLI::App& command) {
  auto* row =
      command.add_option("--changes", changes, "take this row of the trade-off: so many slots changed")
          ->check(number_between(0, 1000));
  command
      .add_option(
          "--fitted", fitted,
          "plan the weights of this file (JSON, as the balance page saves it) instead of choosing them")
      ->check(not_empty())
      ->excludes(row);
  command.add_option("--time-limit", time_limit_s, "seconds that all searches together may take")
      ->check(number_between(0.001, 86400))
      ->capture_default_str();
  command.add_flag("--despite-mirror", despite_mirror,
                   "plan although the runs contradict the declared conventions");
  command
      .add_option(
          "--objective", objective,
          "instead of the job's: \"worst ratio\", \"least squares\", or \"probability\" that every reading "
          "meets its target")
      ->check(CLI::IsMember({"worst ratio", "least squares", "probability"}));
}

void PlanOptions::add_comparisons(CLI::App& command) {
  auto* several = command
                      .add_option("--best", best,
                                  "so many plans to choose from, best first, each different from the others")
                      ->check(number_between(1, 100));
  command.add_option("--differ", least_difference, "slots in which the plans of --best must differ at least")
      ->needs(several)
      ->check(number_between(1, 1000))
      ->capture_default_str();
  command.add_flag("--both-objectives", both_objectives,
                   "show the trade-off of worst ratio and of least squares side by side");
}

Result<Planned> planned(JobFile file, const PlanOptions& options) {
  PlanProblem problem{file.job,
                      asked(file.request, options),
                      file.prior ? &*file.prior : nullptr,
                      options.amplitudes_only,
                      {},
                      options.fitted};
  if (options.check_run) {
    if (const auto run = find_check_run(file.job); !run) return tl::unexpected(run.error());
    problem.fitted = file.job.runs.back().fitted;
    problem.job.fitted_now = fitted_as_found(file.job);
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

}  // namespace trimwright::cli

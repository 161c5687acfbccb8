#include "planned.hpp"

#include "commands.hpp"
#include "trimwright/influence/amplitude_model.hpp"
#include "trimwright/io/read_fitted_choice.hpp"
#include "trimwright/report/balance_page.hpp"
#include "trimwright/trim/plan_choice.hpp"

namespace trimwright::cli {
namespace {

Error mirrored_conventions() {
  return {
      "the runs contradict the declared conventions: read the other way (lag for lead, or angles against for "
      "with "
      "rotation) they fit far better, and a plan would put the weights at the mirror image",
      "phase, slot numbering and viewing ends that agree with the runs (trimwright influence shows the odds; "
      "--despite-mirror plans all the same)",
      {}};
}

/// Takes the last run out of the job when it was made with `fitted`: a plan is not fitted to what it is
/// compared with. A run with known changes stays: they hold from it on.
std::optional<Run> held_back(Job& job, const std::vector<FittedWeights>& fitted) {
  if (job.runs.size() < 2 || !made_with(job.runs.back(), fitted) || !job.runs.back().changes.empty())
    return std::nullopt;
  std::optional<Run> check = std::move(job.runs.back());
  job.runs.pop_back();
  return check;
}

/// A person's choice of weights, and the run that was made with it.
struct Choice {
  std::optional<std::vector<FittedWeights>> fitted;
  std::optional<Run> check;
};

Result<Choice> read_choice(const std::string& path, Job& job) {
  auto fitted = read_fitted_choice(path, job);
  if (!fitted) return tl::unexpected(fitted.error());
  auto check = held_back(job, *fitted);
  return Choice{std::move(*fitted), std::move(check)};
}

TrimRequest asked(TrimRequest request, const PlanOptions& options) {
  if (options.changes) request.pieces = options.changes;
  request.time_limit_s = options.time_limit_s;
  request.best = options.best;
  request.least_difference = options.least_difference;
  request.both_objectives = options.both_objectives;
  if (options.objective.empty()) return request;
  request.most_probable = options.objective == "probability";
  if (!request.most_probable)
    request.objective =
        options.objective == "least squares" ? SlotObjective::least_squares : SlotObjective::worst_ratio;
  return request;
}

Result<TrimPlan> trim_of(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                         const Choice& choice) {
  if (!choice.fitted) return plan_trim(job, model, request);
  auto trim = plan_choice(job, model, request, *choice.fitted);
  if (trim && choice.check)
    trim->notes.push_back("Run \"" + choice.check->name + "\" was made with these weights: it took no part.");
  return trim;
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
  command
      .add_option(
          "--objective", objective,
          "instead of the job's: \"worst ratio\", \"least squares\", or \"probability\" that every reading "
          "meets its target")
      ->check(CLI::IsMember({"worst ratio", "least squares", "probability"}));
  command.add_option("--time-limit", time_limit_s, "seconds the slot search may take")
      ->check(number_between(0.001, 86400))
      ->capture_default_str();
  command.add_flag("--despite-mirror", despite_mirror,
                   "plan although the runs contradict the declared conventions");
}

Result<Planned> planned(JobFile file, const PlanOptions& options) {
  Choice choice;
  if (!options.fitted.empty()) {
    auto read = read_choice(options.fitted, file.job);
    if (!read) return tl::unexpected(read.error());
    choice = std::move(*read);
    file.sources.push_back(options.fitted);
  }
  auto settled = options.amplitudes_only
                     ? settle_by_amplitudes(file.job, file.request.planes)
                     : settle_and_fit(file.job, file.request.planes, file.prior ? &*file.prior : nullptr);
  if (!settled) return tl::unexpected(settled.error());
  if (settled->model.mirror.outcome == MirrorTest::Outcome::contradicts && !options.despite_mirror)
    return tl::unexpected(mirrored_conventions());
  auto& [job, model] = *settled;
  auto trim = trim_of(job, model, asked(file.request, options), choice);
  if (!trim && !options.fitted.empty() && trim.error().where.file.empty())
    trim.error().where.file = options.fitted;
  if (!trim) return tl::unexpected(trim.error());
  std::optional<Verdict> verdict;
  if (choice.check) {
    file.job.runs.push_back(std::move(*choice.check));
    job = std::move(file.job);
  }
  if (choice.check && model.convention != PhaseConvention::unknown) {
    job = with_phase_convention(std::move(job), model.convention);
    verdict = verdict_on(job, model, job.runs.size() - 1, file.request.planes, {},
                         file.prior ? &*file.prior : nullptr);
  }
  auto steps = plan_steps(job, *trim);
  return Planned{std::move(job),   std::move(model),   std::move(*trim),
                 std::move(steps), std::move(verdict), std::move(file.sources)};
}

}  // namespace trimwright::cli

#include "planned.hpp"

#include "commands.hpp"
#include "trimwright/influence/amplitude_model.hpp"
#include "trimwright/io/read_fitted_choice.hpp"
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

Result<TrimPlan> trim_of(const SettledModel& settled, const TrimRequest& request, const std::string& choice) {
  if (choice.empty()) return plan_trim(settled.job, settled.model, request);
  const auto fitted = read_fitted_choice(choice, settled.job);
  if (!fitted) return tl::unexpected(fitted.error());
  auto trim = plan_choice(settled.job, settled.model, request, *fitted);
  if (!trim && trim.error().where.file.empty()) trim.error().where.file = choice;
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
  command.add_option("--time-limit", time_limit_s, "seconds the slot search may take")
      ->check(number_between(0.001, 86400))
      ->capture_default_str();
  command.add_flag("--despite-mirror", despite_mirror,
                   "plan although the runs contradict the declared conventions");
}

Result<Planned> planned(JobFile file, const PlanOptions& options) {
  auto settled = options.amplitudes_only ? settle_by_amplitudes(file.job, file.request.planes)
                                         : settle_and_fit(file.job, file.request.planes);
  if (!settled) return tl::unexpected(settled.error());
  if (settled->model.mirror.outcome == MirrorTest::Outcome::contradicts && !options.despite_mirror)
    return tl::unexpected(mirrored_conventions());
  if (options.changes) file.request.pieces = options.changes;
  file.request.time_limit_s = options.time_limit_s;
  file.request.best = options.best;
  file.request.least_difference = options.least_difference;
  file.request.both_objectives = options.both_objectives;
  auto trim = trim_of(*settled, file.request, options.fitted);
  if (!trim) return tl::unexpected(trim.error());
  auto steps = plan_steps(settled->job, settled->model, *trim);
  if (!options.fitted.empty()) file.sources.push_back(options.fitted);
  return Planned{std::move(settled->job), std::move(settled->model), std::move(*trim), std::move(steps),
                 std::move(file.sources)};
}

}  // namespace trimwright::cli

#include <memory>

#include "commands.hpp"
#include "trimwright/influence/influence_model.hpp"
#include "trimwright/io/json_documents.hpp"
#include "trimwright/io/read_job.hpp"
#include "trimwright/plan/balance_plan.hpp"
#include "trimwright/report/text_report.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* example = R"(Examples:
  trimwright plan examples/quillhaven/job.yaml
      Which weights go into which slots, what to expect after, and the steps to carry out.
  trimwright plan examples/quillhaven/job.yaml --changes 2
      The best plan that changes two slots.
  trimwright plan examples/quillhaven/job.yaml --best 4
      That plan and the three best that differ from it, and from each other, in two slots or more.
  trimwright plan examples/quillhaven/first-visit.yaml --trial spinner
      The full plan of a trial run with a weight of the spinner's catalogue.)";

struct Options {
  std::string job;
  std::optional<int> changes;
  double time_limit_s = TrimRequest{}.time_limit_s;
  int best = TrimRequest{}.best;
  int least_difference = TrimRequest{}.least_difference;
  bool both_objectives = false;
  bool despite_mirror = false;
  std::string trial_plane;
  std::optional<int> trial_slot;
  std::optional<std::string> trial_weight;
  Output output;
};

/// Options a message about the trial may be about, as they were given.
std::string given_options(const Options& options) {
  std::string given = "--trial";
  if (options.trial_slot) given += " --slot";
  if (options.trial_weight) given += " --weight";
  return given;
}

Status trial(const Options& options, const JobFile& file) {
  const Job& job = file.job;
  const auto plane = job.rotor.plane_named(options.trial_plane);
  if (!plane) {
    std::string names;
    for (const auto& one : job.rotor.planes) names += (names.empty() ? "" : " or ") + one.name;
    return complain({"--trial: the rotor has no plane \"" + options.trial_plane + "\"", names, {}});
  }
  auto change = choose_trial(job, {*plane, options.trial_slot, options.trial_weight});
  if (!change) {
    change.error().what = given_options(options) + ": " + change.error().what;
    return complain(change.error());
  }
  const auto plan = trial_steps(job, *change);
  return options.output.write(options.output.json() ? trial_json(job, plan) : trial_text(job, plan),
                              file.sources);
}

Error mirrored_conventions() {
  return {
      "the runs contradict the declared conventions: read the other way (lag for lead, or angles against for "
      "with "
      "rotation) they fit far better, and a plan would put the weights at the mirror image",
      "phase, slot numbering and viewing ends that agree with the runs (trimwright influence shows the odds; "
      "--despite-mirror plans all the same)",
      {}};
}

Status plan(const Options& options) {
  auto file = read_job(options.job);
  if (!file) return complain(file.error());
  if (!options.trial_plane.empty()) return trial(options, *file);
  const auto settled = settle_and_fit(file->job, file->request.planes);
  if (!settled) return complain(settled.error());
  if (settled->model.mirror.outcome == MirrorTest::Outcome::contradicts && !options.despite_mirror)
    return complain(mirrored_conventions());
  if (options.changes) file->request.pieces = options.changes;
  file->request.time_limit_s = options.time_limit_s;
  file->request.best = options.best;
  file->request.least_difference = options.least_difference;
  file->request.both_objectives = options.both_objectives;
  const auto trim = plan_trim(settled->job, settled->model, file->request);
  if (!trim) return complain(trim.error());
  const auto steps = plan_steps(settled->job, settled->model, *trim);
  return options.output.write(options.output.json() ? plan_json(settled->job, settled->model, *trim, steps)
                                                    : plan_text(settled->job, settled->model, *trim, steps),
                              file->sources);
}

}  // namespace

void add_plan(CLI::App& app, int& status) {
  auto options = std::make_shared<Options>();
  auto* command = app.add_subcommand("plan", "The weights to fit, slot by slot, and the steps to carry out");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  auto* changes =
      command
          ->add_option("--changes", options->changes, "take this row of the trade-off: so many slots changed")
          ->check(number_between(0, 1000));
  auto* best = command
                   ->add_option("--best", options->best,
                                "so many plans to choose from, best first, each different from the others")
                   ->check(number_between(1, 100));
  command
      ->add_option("--differ", options->least_difference,
                   "slots in which the plans of --best must differ at least")
      ->needs(best)
      ->check(number_between(1, 1000))
      ->capture_default_str();
  command->add_flag("--both-objectives", options->both_objectives,
                    "show the trade-off of worst ratio and of least squares side by side");
  command->add_option("--time-limit", options->time_limit_s, "seconds the slot search may take")
      ->check(number_between(0.001, 86400))
      ->capture_default_str();
  command->add_flag("--despite-mirror", options->despite_mirror,
                    "plan although the runs contradict the declared conventions");
  auto* plane = command->add_option("--trial", options->trial_plane, "plan a trial run in this plane instead")
                    ->check(not_empty())
                    ->excludes(changes)
                    ->excludes(best);
  command->add_option("--slot", options->trial_slot, "slot of the trial weight")
      ->needs(plane)
      ->check(number_between(1, 1000));
  command->add_option("--weight", options->trial_weight, "catalogue id of the trial weight")
      ->needs(plane)
      ->check(not_empty());
  options->output.add_options(*command);
  command->footer(example);
  command->callback([options, &status] { status = plan(*options); });
}

}  // namespace trimwright::cli

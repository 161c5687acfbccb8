#include <memory>

#include "commands.hpp"
#include "planned.hpp"
#include "trimwright/io/json_documents.hpp"
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
  trimwright plan examples/quillhaven/job.yaml --fitted fitted.json
      What a choice of your own would do (the balance page saves one), and its steps.
  trimwright plan examples/quillhaven/first-visit.yaml --trial spinner
      The full plan of a trial run with a weight of the spinner's catalogue.)";

struct Options {
  std::string job;
  PlanOptions plan;
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

Status plan(const Options& options) {
  auto file = read_job(options.job);
  if (!file) return complain(file.error());
  if (!options.trial_plane.empty()) return trial(options, *file);
  const auto answer = planned(std::move(*file), options.plan);
  if (!answer) return complain(answer.error());
  const auto& [job, model, trim, steps, sources] = *answer;
  return options.output.write(
      options.output.json() ? plan_json(job, model, trim, steps) : plan_text(job, model, trim, steps),
      sources);
}

}  // namespace

void add_plan(CLI::App& app, int& status) {
  auto options = std::make_shared<Options>();
  auto* command = app.add_subcommand("plan", "The weights to fit, slot by slot, and the steps to carry out");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  options->plan.add_options(*command);
  add_amplitudes_only(*command, options->plan.amplitudes_only);
  auto* plane = command->add_option("--trial", options->trial_plane, "plan a trial run in this plane instead")
                    ->check(not_empty())
                    ->excludes("--changes")
                    ->excludes("--fitted")
                    ->excludes("--best");
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

#include <memory>

#include "commands.hpp"
#include "io/owed_runs.hpp"
#include "io/run_entry.hpp"
#include "plan_options.hpp"
#include "trimwright/files.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/report.hpp"
#include "work.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* trial_example = R"(Examples:
  trimwright trial examples/quillhaven/first-visit.yaml
      Which weight in which slot for the next trial run, and its steps; or that none is worth making.
  trimwright trial examples/quillhaven/first-visit.yaml --plane drum --slot 7 --weight D7
      The plan of a trial run of your own choice.
  trimwright trial job.yaml --planned "leak check: 60 %, 85 %"
      And what to fit for a run that is owed anyway, so that it counts.)";

struct TrialOptions {
  std::string job;
  std::string archive;
  std::string plane;
  std::optional<int> slot;
  std::optional<std::string> weight;
  std::string earlier;
  std::vector<std::string> planned;
  std::string runs;
  SearchTime time;
  Output output;
};

/// Options a message about the trial may be about, as they were given.
std::string given_options(const TrialOptions& options) {
  std::string given;
  if (!options.plane.empty()) given += " --plane";
  if (options.slot) given += " --slot";
  if (options.weight) given += " --weight";
  return given.empty() ? given : given.substr(1) + ": ";
}

/// Runs that are owed anyway, of the options and of the file.
Result<std::vector<OwedRun>> owed_runs(const TrialOptions& options, const Rotor& rotor) {
  std::vector<OwedRun> owed;
  if (!options.runs.empty()) {
    auto read = read_owed_runs(options.runs, rotor);
    if (!read) return read;
    owed = std::move(*read);
  }
  for (const auto& text : options.planned) {
    auto run = parse_owed_run(text, rotor);
    if (!run) return tl::unexpected(Error{"--planned: " + run.error().what, run.error().expected, {}});
    owed.push_back(std::move(*run));
  }
  return owed;
}

Status trial(const TrialOptions& options) {
  const auto file = open_job(options.job, options.archive);
  if (!file) return complain(file.error());
  const auto choice = trial_choice(file->job, options.plane, options.slot, options.weight);
  if (!choice) return complain(choice.error());
  std::optional<EarlierEffects> earlier;
  auto sources = file->sources;
  if (!options.earlier.empty()) {
    auto read = read_earlier_effects(options.earlier, file->job);
    if (!read) return complain(read.error());
    earlier = std::move(*read);
    sources.push_back(options.earlier);
  }
  const auto owed = owed_runs(options, file->job.rotor);
  if (!owed) return complain(owed.error());
  if (!options.runs.empty()) sources.push_back(options.runs);
  auto trial = trialled(*file, *choice, options.time, earlier ? &*earlier : nullptr, *owed);
  if (!trial) {
    trial.error().what = given_options(options) + trial.error().what;
    return complain_of_job(trial.error(), *file, options.job, "trial");
  }
  const auto& [job, advice, steps] = *trial;
  const std::string entry = run_entry(job, steps, options.job);
  return options.output.write(options.output.json()
                                  ? trial_json(job, advice, steps)
                                  : trial_text(job, advice, steps, options.output.width()) + entry,
                              sources);
}

}  // namespace

void add_trial(CLI::App& app, int& status) {
  auto options = std::make_shared<TrialOptions>();
  auto* command = app.add_subcommand("trial", "The next trial run: which weight in which slot, or none");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  command->add_option("--plane", options->plane, "plane of the trial weight (default: advised)")
      ->check(not_empty());
  command->add_option("--slot", options->slot, "slot of the trial weight (default: advised)")
      ->check(number_between(1, 1000));
  command->add_option("--weight", options->weight, "catalogue id of the trial weight (default: advised)")
      ->check(not_empty());
  command
      ->add_option(
          "--earlier", options->earlier,
          "how weights acted before, for planes that nothing else tells of: a job file or a folder of "
          "them, an archive, or a prior")
      ->check(not_empty());
  command
      ->add_option(
          "--planned", options->planned,
          "a run that is owed anyway and the speeds it reaches, as \"leak check: 60 %, 85 %\": what to "
          "fit for it so that it counts (as often as there are such runs)")
      ->check(not_empty())
      ->allow_extra_args(false);
  command->add_option("--runs", options->runs, "a file of such runs (YAML)")->check(not_empty());
  add_time_limit(*command, options->time.time_limit_s)->capture_default_str();
  add_archive(*command, options->archive);
  options->output.add_options(*command);
  command->footer(trial_example);
  command->callback([options, command, &status] {
    begin_work(*command, options->time);
    status = trial(*options);
  });
}

}  // namespace trimwright::cli

#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <map>
#include <memory>

#include "base/text.hpp"
#include "commands.hpp"
#include "rehearsal/rehearsal.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* rehearse_example = R"(Examples:
  trimwright rehearse new practice --seed 7
      A folder with a rotor file and a virtual rotor nobody knows.
  trimwright rehearse run practice --name "as found"
      Runs it: practice/as-found.wav and practice/job.yaml.
  trimwright trial practice/job.yaml --plane spinner --format json -o trial.json
  trimwright rehearse run practice --name "trial spinner" --plan trial.json
      Runs it with what the plan asks for fitted.
  trimwright rehearse truth practice
      What it really was.
A whole rehearsal is told in docs/rehearsal.md.)";

struct RehearseOptions {
  std::string folder;
  std::uint64_t seed = 1;
  std::string day = "calm";
  RefitRequest refit;
  std::string name;
  bool readings_only = false;
  Output output;
};

const std::map<std::string, RehearsalDay> days{{"calm", RehearsalDay::calm},
                                               {"on wing", RehearsalDay::on_wing},
                                               {"slip", RehearsalDay::slip},
                                               {"loose reference", RehearsalDay::loose_reference}};

std::vector<std::string> day_names() {
  std::vector<std::string> names;
  for (const auto& [name, day] : days) names.push_back(name);
  return names;
}

/// One line on a terminal's standard error that is overwritten while a recording is written.
std::function<void(double)> progress_on_terminal() {
  if (::isatty(STDERR_FILENO) != 1) return {};
  return [shown = -1](double part) mutable {
    const int percent = static_cast<int>(100.0 * part);
    if (percent == shown) return;
    shown = percent;
    std::fprintf(stderr, percent < 100 ? "\rrunning: %d %%" : "\r\033[K", percent);
  };
}

/// As a shell takes it.
std::string quoted(const std::string& path) {
  return path.find(' ') == std::string::npos ? path : "\"" + path + "\"";
}

Status begin(const RehearseOptions& options) {
  const auto created = create_rehearsal(options.folder, options.seed, days.at(options.day));
  if (!created) return complain(created.error());
  return Output{}.write(options.folder +
                        ": rotor.yaml and rehearsal.yaml are written.\nNext: trimwright rehearse run " +
                        quoted(options.folder) + " --name \"as found\"\n");
}

std::string what_next(const std::string& folder, const MadeRun& made, const std::string& run) {
  const std::string job = (std::filesystem::path(folder) / "job.yaml").string();
  if (made.made == made.readings) return "";
  return "Next: trimwright readings " + quoted(made.made) + " --job " + quoted(job) + " --run \"" + run +
         "\" --format csv -o " + quoted(made.readings) + "\n";
}

Status run(const RehearseOptions& options) {
  const auto rehearsal = read_rehearsal(options.folder);
  if (!rehearsal) return complain(rehearsal.error());
  const auto job = rehearsal_job(*rehearsal);
  if (!job) return complain(job.error());
  const auto fitted = refitted(*job, options.refit);
  if (!fitted) return complain(fitted.error());
  const auto made =
      make_run(*rehearsal, *job, {options.name, *fitted, options.readings_only, progress_on_terminal()});
  if (!made) return complain(made.error());
  return Output{}.write("Run \"" + options.name + "\" is made: " + made->made + "\n" +
                        (made->stopped.empty() ? "" : "But " + made->stopped + ".\n") +
                        what_next(options.folder, *made, options.name));
}

Status truth(const RehearseOptions& options) {
  const auto rehearsal = read_rehearsal(options.folder);
  if (!rehearsal) return complain(rehearsal.error());
  const auto job = rehearsal_job(*rehearsal);
  if (!job) return complain(job.error());
  const auto told = rehearsal_truth(*rehearsal, *job);
  if (!told) return complain(told.error());
  return options.output.write(
      options.output.json() ? truth_json(*told) : truth_text(*told),
      {rehearsal->file("rehearsal.yaml"), rehearsal->file("rotor.yaml"), rehearsal->file("job.yaml")});
}

void add_folder(CLI::App& command, RehearseOptions& options) {
  command.add_option("FOLDER", options.folder, "folder of the rehearsal")->required()->check(not_empty());
}

void add_new(CLI::App& rehearse, const std::shared_ptr<RehearseOptions>& options, int& status) {
  auto* command = rehearse.add_subcommand("new", "A new virtual rotor, in a folder of its own");
  add_folder(*command, *options);
  command->add_option("--seed", options->seed, "which rotor of the family")
      ->check(number_between(0, 1e9))
      ->capture_default_str();
  command
      ->add_option(
          "--day", options->day,
          "what the day brings: \"calm\" (default), \"on wing\" (runs differ as they do there), "
          "\"slip\" (a mistake to be found), or \"loose reference\"; on all but the first a run ends "
          "where a level passes its limit")
      ->check(CLI::IsMember(day_names()));
  command->callback([options, &status] { status = begin(*options); });
}

void add_run(CLI::App& rehearse, const std::shared_ptr<RehearseOptions>& options, int& status) {
  auto* command = rehearse.add_subcommand("run", "Run the virtual rotor with what is fitted, and record it");
  add_folder(*command, *options);
  command->add_option("--name", options->name, "name of the run")->required()->check(not_empty());
  command
      ->add_option("--like", options->refit.like,
                   "begin with what was fitted in this run (default: the last)")
      ->check(not_empty());
  command->add_option("--plan", options->refit.plan, "carry out this plan (JSON of trimwright plan)")
      ->check(not_empty());
  command->add_option("--take-out", options->refit.take_out, "empty a slot: \"spinner 3\"; may be repeated")
      ->allow_extra_args(false);
  command->add_option("--fit", options->refit.fit, "fit a weight: \"spinner 3=K3\"; may be repeated")
      ->allow_extra_args(false);
  command->add_flag("--readings", options->readings_only, "write readings at once instead of a recording");
  command->callback([options, &status] { status = run(*options); });
}

void add_truth(CLI::App& rehearse, const std::shared_ptr<RehearseOptions>& options, int& status) {
  auto* command =
      rehearse.add_subcommand("truth", "What the rotor really was, and the best that could be done");
  add_folder(*command, *options);
  options->output.add_options(*command);
  command->callback([options, &status] { status = truth(*options); });
}

}  // namespace

void add_rehearse(CLI::App& app, int& status) {
  auto options = std::make_shared<RehearseOptions>();
  auto* command = app.add_subcommand("rehearse", "A virtual rotor to rehearse a whole trim on");
  ask_for_subcommand(*command, status);
  command->footer(rehearse_example);
  add_new(*command, options, status);
  add_run(*command, options, status);
  add_truth(*command, options, status);
}

}  // namespace trimwright::cli

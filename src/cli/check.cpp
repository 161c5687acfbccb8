#include <memory>

#include "commands.hpp"
#include "plan_options.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"
#include "work.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* check_example = R"(Examples:
  trimwright check examples/quillhaven/after.yaml
      Whether the last run is accepted and as predicted; if not, what may have gone wrong, and what to do next.
  trimwright check examples/quillhaven/after.yaml --run "trial drum"
      The same for another run, judged from the runs before it.
The check run's "fitted" says what was fitted; the prediction follows from it and the runs before (docs/check.md).)";

struct CheckOptions {
  std::string job;
  std::string archive;
  std::string run;
  SearchTime time;
  Output output;
};

Status check(const CheckOptions& options) {
  const auto file = open_job(options.job, options.archive);
  if (!file) return complain(file.error());
  const auto judged = checked(*file, options.run, options.time);
  if (!judged) return complain_of_job(judged.error(), *file, options.job, "check");
  return options.output.write(options.output.json()
                                  ? check_json(judged->job, judged->verdict)
                                  : check_text(judged->job, judged->verdict, options.output.width()),
                              file->sources);
}

}  // namespace

void add_check(CLI::App& app, int& status) {
  auto options = std::make_shared<CheckOptions>();
  auto* command = app.add_subcommand("check", "The verdict on the check run, and what to do next");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  command->add_option("--run", options->run, "the check run (default: the last run of the job)")
      ->check(not_empty());
  add_time_limit(*command, options->time.time_limit_s)->capture_default_str();
  add_archive(*command, options->archive);
  options->output.add_options(*command);
  command->footer(check_example);
  command->callback([options, command, &status] {
    begin_work(*command, options->time);
    status = check(*options);
  });
}

}  // namespace trimwright::cli

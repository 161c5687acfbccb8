#include <memory>

#include "commands.hpp"
#include "io/ready_document.hpp"
#include "plan_options.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"
#include "work.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* ready_example = R"(Example:
  trimwright ready examples/quillhaven/job.yaml
      Whether the runs so far are a base to trim on, or what to look at first.)";

struct ReadyOptions {
  std::string job;
  SearchTime time;
  Output output;
};

Status ready(const ReadyOptions& options) {
  const auto file = open_job(options.job);
  if (!file) return complain(file.error());
  const Readiness found = readiness_of(*file, options.time);
  const bool knows_type = file->prior.has_value();
  return options.output.write(
      options.output.json() ? ready_json(file->job, found, knows_type)
                            : ready_text(file->job, found, options.job, knows_type, options.output.width()),
      file->sources);
}

}  // namespace

void add_ready(CLI::App& app, int& status) {
  auto options = std::make_shared<ReadyOptions>();
  auto* command = app.add_subcommand("ready", "Whether this can be trimmed, or what to look at first");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  add_time_limit(*command, options->time.time_limit_s)->capture_default_str();
  options->output.add_options(*command);
  command->footer(ready_example);
  command->callback([options, command, &status] {
    begin_work(*command, options->time);
    status = ready(*options);
  });
}

}  // namespace trimwright::cli

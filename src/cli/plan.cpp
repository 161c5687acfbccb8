#include <memory>

#include "commands.hpp"
#include "io/run_entry.hpp"
#include "plan_options.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* plan_example = R"(Examples:
  trimwright plan examples/quillhaven/job.yaml
      Which weights go into which slots, what to expect after, and the steps to carry out.
  trimwright plan examples/quillhaven/job.yaml --changes 2
      The best plan that changes two slots.
  trimwright plan examples/quillhaven/job.yaml --best 4
      That plan and the three best that differ from it, and from each other, in two slots or more.
  trimwright plan examples/quillhaven/job.yaml --fitted fitted.json
      What a choice of your own would do (the balance page saves one), and its steps.
  trimwright plan examples/quillhaven/job.yaml --objective probability
      The weights that make it most probable that every reading meets its target.
  trimwright plan job.yaml --archive trims.db
      The same with what earlier trims of this engine and of its type, filed in an archive, tell.)";

struct PlanCommand {
  std::string job;
  std::string archive;
  PlanOptions plan;
  Output output;
};

Status plan(const PlanCommand& options) {
  const auto file = open_job(options.job, options.archive);
  if (!file) return complain(file.error());
  const auto answer = planned(*file, options.plan);
  if (!answer) return complain_of_job(answer.error(), *file, options.job, "plan");
  const auto& [job, model, trim, steps, held_back] = answer->plan;
  const std::string entry = held_back ? "" : run_entry(job, steps, options.job);
  const Status written = options.output.write(
      options.output.json() ? plan_json(job, model, trim, steps)
                            : plan_text(job, model, trim, steps, options.output.width()) + entry,
      answer->sources);
  return plan_status(written, trim.nothing_found());
}

}  // namespace

void add_plan(CLI::App& app, int& status) {
  auto options = std::make_shared<PlanCommand>();
  auto* command = app.add_subcommand("plan", "The weights to fit, slot by slot, and the steps to carry out");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  add_plan_options(*command, options->plan);
  add_comparisons(*command, options->plan);
  add_archive(*command, options->archive);
  add_amplitudes_only(*command, options->plan.amplitudes_only);
  options->output.add_options(*command);
  command->footer(plan_example);
  command->callback([options, command, &status] {
    begin_work(*command, options->plan.time);
    status = plan(*options);
  });
}

}  // namespace trimwright::cli

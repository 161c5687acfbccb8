#include <memory>

#include "commands.hpp"
#include "trimwright/influence/amplitude_model.hpp"
#include "trimwright/influence/influence_model.hpp"
#include "trimwright/io/json_documents.hpp"
#include "trimwright/io/read_job.hpp"
#include "trimwright/report/text_report.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* example = R"(Example:
  trimwright influence examples/quillhaven/job.yaml
      How each plane acts on each sensor at each speed, and how well the runs settle it.
  trimwright influence examples/quillhaven/job.yaml --format json
      The same as one JSON document (docs/json.md).)";

struct Options {
  std::string job;
  bool amplitudes_only = false;
  Output output;
};

Status influence(const Options& options) {
  const auto file = read_job(options.job);
  if (!file) return complain(file.error());
  const auto settled = options.amplitudes_only ? settle_by_amplitudes(file->job, file->request.planes)
                                               : settle_and_fit(file->job, file->request.planes);
  if (!settled) return complain(settled.error());
  return options.output.write(options.output.json() ? influence_json(settled->job, settled->model)
                                                    : influence_text(settled->job, settled->model),
                              file->sources);
}

}  // namespace

void add_influence(CLI::App& app, int& status) {
  auto options = std::make_shared<Options>();
  auto* command = app.add_subcommand("influence", "The influence coefficients that the runs of a job settle");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  add_amplitudes_only(*command, options->amplitudes_only);
  options->output.add_options(*command);
  command->footer(example);
  command->callback([options, &status] { status = influence(*options); });
}

}  // namespace trimwright::cli

#include <fmt/format.h>

#include <memory>

#include "answers/planned.hpp"
#include "commands.hpp"
#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/report.hpp"
#include "work.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* influence_example = R"(Example:
  trimwright influence examples/quillhaven/job.yaml
      How each plane acts on each sensor at each speed, and how well the runs settle it.
  trimwright influence examples/quillhaven/job.yaml --format json
      The same as one JSON document (docs/json.md).
  trimwright influence --learn jobs -o prior.yaml
  trimwright influence --learn trims.db --rotor "Larkmere demonstrator fan" -o prior.yaml
      What the jobs in a folder say of the rotor type; a job then names it as "prior: prior.yaml".)";

struct InfluenceOptions {
  std::string job;
  std::string archive;
  bool amplitudes_only = false;
  std::string learn_from;
  std::string rotor;
  std::optional<double> time_limit_s;
  Output output;
};

Status learn(const InfluenceOptions& options) {
  const auto fleet = read_fleet(options.learn_from, options.rotor);
  if (!fleet) return complain(fleet.error());
  const auto prior = learn_prior(fleet->jobs);
  if (!prior) return complain(prior.error());
  if (prior->coefficients.size() > most_prior_coefficients)
    return complain({"the jobs settle " + std::to_string(prior->coefficients.size()) + " coefficients",
                     "at most " + std::to_string(most_prior_coefficients) + ": jobs with fewer speeds",
                     {options.learn_from, 0, {}}});
  for (const auto& one : prior->left_out)
    fmt::print(stderr, "trimwright: left out: {}: {}\n", one.name, one.why);
  return options.output.write(prior_text(*prior), fleet->sources);
}

Status influence(const InfluenceOptions& options) {
  if (!options.learn_from.empty()) return learn(options);
  const auto file = open_job(options.job, options.archive);
  if (!file) return complain(file.error());
  const auto settled = influenced(*file, options.amplitudes_only);
  if (!settled) return complain_of_job(settled.error(), *file, options.job, "influence");
  return options.output.write(options.output.json()
                                  ? influence_json(settled->job, settled->model)
                                  : influence_text(settled->job, settled->model, options.output.width()),
                              file->sources);
}

}  // namespace

void add_influence(CLI::App& app, int& status) {
  auto options = std::make_shared<InfluenceOptions>();
  auto* command = app.add_subcommand("influence", "The influence coefficients that the runs of a job settle");
  auto* job = command->add_option("JOB", options->job, "job file (YAML)")->check(not_empty());
  auto* learn_from =
      command
          ->add_option("--learn", options->learn_from,
                       "write a prior (YAML) made from the job files in this folder, or from the "
                       "jobs filed in this archive")
          ->check(not_empty())
          ->excludes(job);
  command->add_option("--rotor", options->rotor, "with --learn: only jobs on this rotor type")
      ->check(not_empty())
      ->needs(learn_from);
  add_time_limit(*command, options->time_limit_s);
  add_archive(*command, options->archive);
  add_amplitudes_only(*command, options->amplitudes_only);
  options->output.add_options(*command);
  command->footer(influence_example);
  command->callback([options, job, learn_from, &status] {
    if (job->empty() && learn_from->empty()) throw CLI::RequiredError("JOB or --learn");
    if (!learn_from->empty() && options->output.json())
      throw CLI::ValidationError("--format", "a prior is a YAML file; leave --format out");
    if (!learn_from->empty() && !options->archive.empty())
      throw CLI::ValidationError("--archive", "with a job; --learn reads the archive named with it");
    work("trimwright influence", options->time_limit_s);
    status = influence(*options);
  });
}

}  // namespace trimwright::cli

#include <memory>

#include "commands.hpp"
#include "planned.hpp"
#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* page_example = R"(Examples:
  trimwright page examples/quillhaven/job.yaml -o page.html
      The plan as one HTML file: slots and vibration drawn, what if, a sheet to print. Open it in any browser.
  trimwright page examples/quillhaven/job.yaml --fitted fitted.json -o mine.html
      The same for a choice of weights that was saved on the page.)";

struct PageOptions {
  std::string job;
  PlanOptions plan;
  Output output{"html", {}};
};

Status page(const PageOptions& options) {
  auto file = read_job(options.job);
  if (!file) return complain(file.error());
  const auto answer = planned(std::move(*file), options.plan);
  if (!answer) return complain(answer.error());
  const auto& [job, model, trim, steps, held_back] = answer->plan;
  return options.output.write(balance_page(job, model, trim, steps, page_json(job, model, trim),
                                           answer->verdict ? &*answer->verdict : nullptr),
                              answer->sources);
}

}  // namespace

void add_page(CLI::App& app, int& status) {
  auto options = std::make_shared<PageOptions>();
  auto* command = app.add_subcommand("page", "The plan as one HTML file to look at, to try out and to print");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  options->plan.add_options(*command);
  options->output.add_path(*command);
  command->footer(page_example);
  command->callback([options, &status] { status = page(*options); });
}

}  // namespace trimwright::cli

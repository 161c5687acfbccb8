#include <unistd.h>

#include <memory>

#include "answers/page.hpp"
#include "commands.hpp"
#include "plan_options.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* page_example = R"(Examples:
  trimwright page examples/quillhaven/job.yaml -o page.html
      The plan as one HTML file: slots and vibration drawn, what if, a sheet to print. Open it in any browser.
  trimwright page examples/quillhaven/job.yaml --fitted fitted.json -o mine.html
      The same for a choice of weights that was saved on the page.
  trimwright page examples/quillhaven/after.yaml --check-run -o after.html
      After the check run: what was changed against as found, and what "trimwright check" says.
  trimwright page examples/quillhaven/first-visit.yaml -o trial.html
      After a baseline alone: the next trial run. Before any run: a blank run sheet to print.)";

struct PageOptions {
  std::string job;
  std::string archive;
  PlanOptions plan;
  Output output{"html", {}};
};

Status page(const PageOptions& options) {
  if (options.output.path.empty() && ::isatty(STDOUT_FILENO) == 1)
    return complain({"the page is an HTML file, which a terminal cannot show",
                     "a file for it, such as -o page.html",
                     {}});
  const auto answer = page_of_job(options.job, options.plan);
  if (!answer) return complain(answer.error());
  tell_notes(answer->notes);
  return plan_status(options.output.write(answer->html, answer->sources), answer->nothing_found);
}

}  // namespace

void add_page(CLI::App& app, int& status) {
  auto options = std::make_shared<PageOptions>();
  auto* command = app.add_subcommand("page", "The plan as one HTML file to look at, to try out and to print");
  command->add_option("JOB", options->job, "job file (YAML)")->required()->check(not_empty());
  add_plan_options(*command, options->plan);
  command->add_flag("--check-run", options->plan.check_run,
                    "the last run is the check run: its weights against as found, judged by the runs before");
  add_archive(*command, options->archive);
  add_amplitudes_only(*command, options->plan.amplitudes_only);
  options->output.add_path(*command);
  command->footer(page_example);
  command->callback([options, command, &status] {
    begin_work(*command, options->plan.time);
    if (!options->archive.empty())
      options->plan.earlier = [archive = options->archive](JobFile& file) {
        return take_earlier_jobs(file, archive);
      };
    status = page(*options);
  });
}

}  // namespace trimwright::cli

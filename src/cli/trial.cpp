#include <memory>

#include "commands.hpp"
#include "trimwright/influence/influence_model.hpp"
#include "trimwright/io/json_documents.hpp"
#include "trimwright/io/read_job.hpp"
#include "trimwright/plan/trial_advice.hpp"
#include "trimwright/report/text_report.hpp"

namespace trimwright::cli {
namespace {

constexpr const char* trial_example = R"(Examples:
  trimwright trial examples/quillhaven/first-visit.yaml
      Which weight in which slot for the next trial run, and its steps; or that none is worth making.
  trimwright trial examples/quillhaven/first-visit.yaml --plane drum --slot 7 --weight D7
      The plan of a trial run of your own choice.)";

struct TrialOptions {
  std::string job;
  std::string plane;
  std::optional<int> slot;
  std::optional<std::string> weight;
  double time_limit_s = TrimRequest{}.time_limit_s;
  Output output;
};

/// TrialOptions a message about the trial may be about, as they were given.
std::string given_options(const TrialOptions& options) {
  std::string given;
  if (!options.plane.empty()) given += " --plane";
  if (options.slot) given += " --slot";
  if (options.weight) given += " --weight";
  return given.empty() ? given : given.substr(1) + ": ";
}

Result<TrialChoice> choice_of(const TrialOptions& options, const Job& job) {
  TrialChoice choice{{}, options.slot, options.weight};
  if (options.plane.empty()) return choice;
  choice.plane = job.rotor.plane_named(options.plane);
  if (choice.plane) return choice;
  std::string names;
  for (const auto& one : job.rotor.planes) names += (names.empty() ? "" : " or ") + one.name;
  return tl::unexpected(Error{"--plane: the rotor has no plane \"" + options.plane + "\"", names, {}});
}

/// A job with what its runs tell, as far as they do.
struct Told {
  Job job;
  std::optional<InfluenceModel> model;
  std::optional<TrimPlan> trim;
  std::vector<std::string> notes;
};

/// What the runs tell; a prior that does not fit the job is an error, runs that tell nothing are not.
Result<Told> told_by(const JobFile& file, TrimRequest request) {
  Told told{file.job, {}, {}, {}};
  auto settled = settle_and_fit(file.job, file.request.planes, file.prior ? &*file.prior : nullptr);
  if (!settled && file.prior) return tl::unexpected(settled.error());
  if (!settled && !file.request.planes.empty()) settled = settle_and_fit(file.job);
  if (!settled) {
    told.notes.push_back("Nothing can be planned on yet: " + settled.error().what + ".");
    return told;
  }
  if (settled->model.mirror.outcome == MirrorTest::Outcome::contradicts) {
    told.notes.emplace_back(
        "The runs contradict the declared conventions of phase and angle: settle this first (trimwright "
        "influence). Nothing here relies on them.");
    return told;
  }
  told.job = std::move(settled->job);
  told.model = std::move(settled->model);
  std::erase_if(request.planes, [&](std::size_t plane) {
    const auto& known = told.model->planes;
    return std::find(known.begin(), known.end(), plane) == known.end();
  });
  auto trim = plan_trim(told.job, *told.model, request);
  if (!trim) told.notes.push_back("No correction can be planned: " + trim.error().what + ".");
  if (trim) told.trim = std::move(*trim);
  return told;
}

Status trial(const TrialOptions& options) {
  const auto file = read_job(options.job);
  if (!file) return complain(file.error());
  const auto choice = choice_of(options, file->job);
  if (!choice) return complain(choice.error());
  TrimRequest request = file->request;
  request.time_limit_s = options.time_limit_s;
  const auto told = told_by(*file, request);
  if (!told) return complain(told.error());
  const InfluenceModel* model = told->model ? &*told->model : nullptr;
  auto advice =
      advise_trial(told->job, {model, told->trim ? &*told->trim : nullptr, file->request.planes}, *choice);
  if (!advice) {
    advice.error().what = given_options(options) + advice.error().what;
    return complain(advice.error());
  }
  advice->notes.insert(advice->notes.begin(), told->notes.begin(), told->notes.end());
  const bool wanted = advice->worth_making || choice->anything();
  const BalancePlan plan =
      wanted ? trial_steps(told->job, advice->advised().change, model) : no_trial_steps(*advice);
  return options.output.write(
      options.output.json() ? trial_json(told->job, *advice, plan) : trial_text(told->job, *advice, plan),
      file->sources);
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
  command->add_option("--time-limit", options->time_limit_s, "seconds the slot search may take")
      ->check(number_between(0.001, 86400))
      ->capture_default_str();
  options->output.add_options(*command);
  command->footer(trial_example);
  command->callback([options, &status] { status = trial(*options); });
}

}  // namespace trimwright::cli

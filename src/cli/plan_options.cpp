#include "plan_options.hpp"

#include "commands.hpp"
#include "work.hpp"

namespace trimwright::cli {

void add_plan_options(CLI::App& command, PlanOptions& options) {
  auto* row =
      command
          .add_option("--changes", options.changes, "take this row of the trade-off: so many slots changed")
          ->check(number_between(0, 1000));
  command
      .add_option(
          "--fitted", options.fitted,
          "plan the weights of this file (JSON, as the balance page saves it) instead of choosing them")
      ->check(not_empty())
      ->excludes(row);
  add_time_limit(command, options.time.time_limit_s)->capture_default_str();
  command.add_flag("--despite-mirror", options.despite_mirror,
                   "plan although the runs contradict the declared conventions");
  command
      .add_option(
          "--objective", options.objective,
          "instead of the job's: \"worst ratio\", \"least squares\", or \"probability\" that every reading "
          "meets its target")
      ->check(CLI::IsMember({"worst ratio", "least squares", "probability"}));
}

void begin_work(const CLI::App& command, SearchTime& time) {
  const auto given = command.count("--time-limit") > 0 ? std::optional(time.time_limit_s) : std::nullopt;
  time.clock = work_clock;
  time.ends = search_until(given, "trimwright " + command.get_name());
}

Status plan_status(Status written, bool nothing_found) {
  if (written != done || !nothing_found) return written;
  return complain({"no plan: the search was stopped too early", "more time (--time-limit)", {}});
}

void add_comparisons(CLI::App& command, PlanOptions& options) {
  auto* several = command
                      .add_option("--best", options.best,
                                  "so many plans to choose from, best first, each different from the others")
                      ->check(number_between(1, 100));
  command
      .add_option("--differ", options.least_difference,
                  "slots in which the plans of --best must differ at least")
      ->needs(several)
      ->check(number_between(1, 1000))
      ->capture_default_str();
  command.add_flag("--both-objectives", options.both_objectives,
                   "show the trade-off of worst ratio and of least squares side by side");
}

}  // namespace trimwright::cli

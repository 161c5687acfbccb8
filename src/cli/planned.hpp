#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>

#include "trimwright/files.hpp"
#include "trimwright/plan.hpp"

namespace trimwright::cli {

/// What every command that plans a trim takes.
struct PlanOptions {
  std::optional<int> changes;
  std::string fitted;  ///< path of a choice of weights; empty: the planner chooses
  double time_limit_s = TrimRequest{}.time_limit_s;
  int best = TrimRequest{}.best;
  int least_difference = TrimRequest{}.least_difference;
  bool both_objectives = false;
  std::string objective;  ///< as a job file names it; empty: as the job says
  bool despite_mirror = false;
  bool amplitudes_only = false;  ///< an option of its own where a command allows it
  bool check_run = false;        ///< plan what the last run fitted, from as found; as above

  /// Adds --changes, --fitted, --objective, --time-limit and --despite-mirror.
  void add_options(CLI::App& command);
  /// Adds --best, --differ and --both-objectives.
  void add_comparisons(CLI::App& command);
};

/// A job planned through, and every file that was read for it.
struct Planned {
  PlannedJob plan;
  std::optional<Prior> prior;
  std::vector<std::string> sources;
};

/// `plan_job` as the options ask. Errors: its own; those of a choice that is read.
[[nodiscard]] Result<Planned> planned(JobFile file, const PlanOptions& options);

}  // namespace trimwright::cli

#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/files.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {

/// How a person asks for a plan; what is left at its default is the job's, or the planner's choice.
struct PlanOptions {
  std::optional<int> changes;
  std::string fitted;  ///< path of a choice of weights; empty: the planner chooses
  double time_limit_s = TrimRequest{}.time_limit_s;
  std::string more_time{};         ///< `TrimRequest::more_time`
  std::optional<Deadline> ends{};  ///< `TrimRequest::ends`
  Deadline::Now clock = Deadline::Clock::now;
  int best = TrimRequest{}.best;
  int least_difference = TrimRequest{}.least_difference;
  bool both_objectives = false;
  std::string objective;  ///< as a job file names it; empty: as the job says
  bool despite_mirror = false;
  bool amplitudes_only = false;
  bool check_run = false;  ///< plan what the last run fitted, from as found
  /// Of a page: what earlier jobs tell is put into the job file (`take_earlier_jobs`); empty: nothing.
  std::function<Result<void>(JobFile&)> earlier{};
};

/// A job planned through, and every file that was read for it.
struct Planned {
  PlannedJob plan;
  std::optional<Prior> prior;
  std::vector<std::string> sources;
};

/// `plan_job` as the options ask. Errors: its own; those of a choice that is read.
[[nodiscard]] Result<Planned> planned(JobFile file, const PlanOptions& options);

/// `readiness` of the job, its newest run compared with those before, until the request's deadline.
[[nodiscard]] Readiness readiness_of(const JobFile& file);

/// What `command` could not do with the job at `path`: where that is for want of a run, the command that
/// comes next is named too.
[[nodiscard]] Error with_next_command(Error error, const JobFile& file, const std::string& path,
                                      const std::string& command);

/// A trial run as a person names it: an empty name or none is advised. Errors: no such plane.
[[nodiscard]] Result<TrialChoice> trial_choice(const Job& job, const std::string& plane,
                                               std::optional<int> slot, std::optional<std::string> weight);

}  // namespace trimwright

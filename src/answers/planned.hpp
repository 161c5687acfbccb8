#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/check.hpp"
#include "trimwright/files.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {

/// How long the searches for an answer may take: those parts of a `TrimRequest`, called as there.
struct SearchTime {
  double time_limit_s = TrimRequest{}.time_limit_s;
  std::string more_time{};
  std::optional<Deadline> ends{};
  Deadline::Now clock = Deadline::Clock::now;

  void put_into(TrimRequest& request) const;
};

/// How a person asks for a plan; what is left at its default is the job's, or the planner's choice.
struct PlanOptions {
  std::optional<int> changes;
  std::string fitted;  ///< path of a choice of weights; empty: the planner chooses
  SearchTime time{};
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

/// `readiness` of the job, its newest run compared with those before.
[[nodiscard]] Readiness readiness_of(const JobFile& file, const SearchTime& time);

/// How the weights act, by the runs and the job's prior: `settle_and_fit`, or `settle_by_amplitudes` where
/// the phases were lost.
[[nodiscard]] Result<SettledModel> influenced(const JobFile& file, bool amplitudes_only = false);

/// `plan_trial` of the job.
[[nodiscard]] Result<PlannedTrial> trialled(const JobFile& file, const TrialChoice& choice,
                                            const SearchTime& time, const EarlierEffects* earlier = nullptr,
                                            const std::vector<OwedRun>& owed = {});

/// `judge_job` of run `run`; empty: the last.
[[nodiscard]] Result<JudgedJob> checked(const JobFile& file, const std::string& run, const SearchTime& time);

/// What `command` could not do with the job at `path`: where that is for want of a run, the command that
/// comes next is named too.
[[nodiscard]] Error with_next_command(Error error, const JobFile& file, const std::string& path,
                                      const std::string& command);

/// A trial run as a person names it: an empty name or none is advised. Errors: no such plane.
[[nodiscard]] Result<TrialChoice> trial_choice(const Job& job, const std::string& plane,
                                               std::optional<int> slot, std::optional<std::string> weight);

}  // namespace trimwright

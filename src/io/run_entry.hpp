#pragma once

#include <string>
#include <vector>

#include "trimwright/job.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// A run that is made with weights that a trial or a plan changes.
struct RunToEnter {
  std::string called;      ///< "trial fan"; a number follows where a run has that name
  bool taken_out = false;  ///< the weights come out again after it
  std::string page;        ///< beside the job, what has its steps to print: "trial.html"
  std::string next;        ///< the command that goes on from its readings: "ready"
};

/// How its steps are printed, how the job file takes it up, for a person to copy, and the command after that.
/// Empty: nothing is changed. Without the lines where something is fitted that no catalogue names.
[[nodiscard]] std::string run_entry(const Job& job, const std::vector<SlotChange>& changes,
                                    const std::string& job_file, const RunToEnter& run);

}  // namespace trimwright

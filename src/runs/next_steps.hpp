#pragma once

#include <string>
#include <vector>

#include "trimwright/job.hpp"

namespace trimwright {

/// What a job lacks, in the order in which it is to be got, and the command that goes on from there.
struct NextSteps {
  std::vector<std::string> missing;  ///< whole sentences; empty: nothing
  std::string command;               ///< "trial", "plan", ... of the program; what it is for follows
  std::string purpose;               ///< "to be told the next trial weight"
};

/// `knows_type`: a prior tells how the planes of this type of rotor act.
[[nodiscard]] NextSteps next_steps(const Job& job, bool knows_type);

/// Whether the run's name says that it is a trial run.
[[nodiscard]] bool called_trial(const Run& run);

/// "rotation, slots": what the rotor file lists as assumed.
[[nodiscard]] std::string listed_to_confirm(const Rotor& rotor);

/// Error while something is only assumed: no weight is advised, no run is judged and nothing is filed on
/// that.
[[nodiscard]] Result<void> check_confirmed(const Rotor& rotor);

}  // namespace trimwright

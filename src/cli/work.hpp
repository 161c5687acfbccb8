#pragma once

#include <string>

#include "trimwright/slot_search.hpp"

namespace trimwright::cli {

// A command at work: how long it may take, and how a person ends it. Beyond two seconds a terminal shows on
// standard error that it goes on.

/// The deadline of this command, `seconds` after the program began; the first SIGINT or SIGTERM brings it at
/// once. `asked_for` by the person: where no answer is under way most of a second later, the command ends
/// without one. `what`: "plan job.yaml".
[[nodiscard]] Deadline work_until(double seconds, bool asked_for, const std::string& what);
/// A command whose work has no limit; a signal ends it.
void work(const std::string& what);
/// From here on the answer, or why there is none, is written: nothing ends the command on its way.
void work_is_done();

/// For `end_cleanly_on_signals`: whether the command at work comes to its end by itself.
[[nodiscard]] bool ends_by_itself(int signal);

}  // namespace trimwright::cli

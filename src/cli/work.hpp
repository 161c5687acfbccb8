#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>

#include "commands.hpp"
#include "trimwright/deadline.hpp"

namespace trimwright::cli {

// A command at work: how long it may take, and how a person ends it. Beyond two seconds a terminal shows on
// standard error that it goes on.

/// A command that searches. With a `limit` [s] that the person gave, its deadline, from the beginning of the
/// program on: where no answer is under way most of a second later, the command ends without one. The first
/// SIGINT or SIGTERM is told by `work_clock`. `what`: "trimwright plan".
[[nodiscard]] std::optional<Deadline> search_until(std::optional<double> limit, const std::string& what);
/// `Deadline::interruption` from the first signal on.
[[nodiscard]] Deadline::Clock::time_point work_clock();
/// A command that has its whole answer or none: a signal ends it, and so does a `limit` [s] as above.
void work(const std::string& what, std::optional<double> limit = {});
/// Adds --time-limit [s]. A double has a default and is of a command that searches; an optional one has none.
template <class Seconds>
CLI::Option* add_time_limit(CLI::App& command, Seconds& limit) {
  constexpr bool searches = std::is_same_v<Seconds, double>;
  return command
      .add_option("--time-limit", limit,
                  searches ? "seconds that the command may take; it answers with the best found so far"
                           : "seconds that the command may take; beyond them it ends without an answer")
      ->check(number_between(0.001, 86400));
}
/// From here on the answer, or why there is none, is written: nothing ends the command on its way.
void work_is_done();

/// For `end_cleanly_on_signals`: whether the command at work comes to its end by itself.
[[nodiscard]] bool ends_by_itself(int signal);

}  // namespace trimwright::cli

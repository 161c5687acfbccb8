#pragma once

#include <CLI/CLI.hpp>

#include "answers/planned.hpp"
#include "commands.hpp"

namespace trimwright::cli {

/// Begins `command` at work: until its --time-limit, where the person gave one.
void begin_work(const CLI::App& command, SearchTime& time);
/// `written`, but for a search that ended before there was any plan: that is told, and the status is its own.
[[nodiscard]] Status plan_status(Status written, bool nothing_found);
/// Adds --changes, --fitted, --objective, --time-limit and --despite-mirror.
void add_plan_options(CLI::App& command, PlanOptions& options);
/// Adds --best, --differ and --both-objectives.
void add_comparisons(CLI::App& command, PlanOptions& options);

}  // namespace trimwright::cli

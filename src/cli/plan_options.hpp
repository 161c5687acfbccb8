#pragma once

#include <CLI/CLI.hpp>

#include "answers/planned.hpp"
#include "commands.hpp"

namespace trimwright::cli {

/// `limit_s` where the person gave it with --time-limit.
[[nodiscard]] std::optional<double> limit_given(const CLI::App& command, double limit_s);
/// Begins `command` at work, its limit that of the options.
void begin_work(const CLI::App& command, PlanOptions& options);
/// `written`, but for a search that ended before there was any plan: that is told, and the status is its own.
[[nodiscard]] Status plan_status(Status written, bool nothing_found);
/// Adds --changes, --fitted, --objective, --time-limit and --despite-mirror.
void add_plan_options(CLI::App& command, PlanOptions& options);
/// Adds --best, --differ and --both-objectives.
void add_comparisons(CLI::App& command, PlanOptions& options);

}  // namespace trimwright::cli

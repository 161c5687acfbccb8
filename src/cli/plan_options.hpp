#pragma once

#include <CLI/CLI.hpp>

#include "answers/planned.hpp"

namespace trimwright::cli {

/// Adds --changes, --fitted, --objective, --time-limit and --despite-mirror.
void add_plan_options(CLI::App& command, PlanOptions& options);
/// Adds --best, --differ and --both-objectives.
void add_comparisons(CLI::App& command, PlanOptions& options);

}  // namespace trimwright::cli

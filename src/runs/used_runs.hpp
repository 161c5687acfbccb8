#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "trimwright/job.hpp"

namespace trimwright {

/// Whether a run takes part and has readings.
[[nodiscard]] inline bool was_read(const Run& run) { return !run.set_aside && !run.readings.empty(); }

/// The run of this name, as a person reads it.
[[nodiscard]] std::optional<std::size_t> run_named(const Job& job, std::string_view name);

/// Indices of the runs that are not set aside, in order.
[[nodiscard]] std::vector<std::size_t> runs_used(const Job& job);

/// Indices of the runs that were read, in order.
[[nodiscard]] std::vector<std::size_t> runs_read(const Job& job);

/// Planes whose unbalance some of `runs` had otherwise than the first of them, known changes included and
/// rounding not: the one rule of what was tried. None of no run.
[[nodiscard]] std::vector<std::size_t> planes_changed(const Job& job, const std::vector<std::size_t>& runs);

}  // namespace trimwright

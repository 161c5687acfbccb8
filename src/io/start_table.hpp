#pragma once

#include <string>
#include <vector>

#include "start_job.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

/// Takes from a table of readings, as a spreadsheet saved it, what its headings and rows tell of a new job:
/// sensors with their units, runs, speeds, and how phase is counted where the headings say. Errors: a table
/// that cannot be read, or that tells of no sensor; a sensor without a unit.
[[nodiscard]] Result<void> take_table(const std::string& path, StartJob& job);

/// Whether the table holds what a rotor and a job with these texts can read; else the first error in it.
[[nodiscard]] Result<void> check_table(const std::string& path, const std::string& rotor_text);

}  // namespace trimwright

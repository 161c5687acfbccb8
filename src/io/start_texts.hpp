#pragma once

#include <string>

#include "start_job.hpp"

namespace trimwright {

/// The files of a new job, commented, that can be read as they are. What nobody told stands in them behind a
/// #, or, where a rotor must have it, is assumed and listed under `to_confirm`.
[[nodiscard]] std::string start_rotor_text(const StartJob& job);
/// What its list to_confirm names, with the line of the rotor file where it stands; the list itself last.
[[nodiscard]] std::vector<LineToConfirm> lines_to_confirm(const StartJob& job, const std::string& rotor_text);
[[nodiscard]] std::string start_job_text(const StartJob& job);
/// The table of readings, one row for each speed of the first run and of a trial run in each plane.
[[nodiscard]] std::string start_table_text(const StartJob& job);

}  // namespace trimwright

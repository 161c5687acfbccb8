#pragma once

#include <string>

#include "speed_match.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// Why a reading cannot enter the regression; empty when it can.
[[nodiscard]] inline std::string why_not_usable(const Job& job, const Run& run, const Reading& reading) {
  if (reading.component == Component::overall) return "an overall level is not balanced on";
  if (!reading.x) return "no phase was read; kept, but only an amplitude-only method could use it";
  return speed_mismatch(job, run, reading);
}

}  // namespace trimwright

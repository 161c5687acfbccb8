#pragma once

#include <string>

#include "runs/recorded_run.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// What the recordings of a run say, for a terminal or a printer: dwells with amplitude and phase, then what
/// was found out about the reference and the channels. At most 80 columns, no colour. `sweep` adds the
/// run-up and run-down table.
[[nodiscard]] std::string readings_text(const Job& job, const RecordedRun& run, bool sweep);

}  // namespace trimwright

#pragma once

#include <string>

#include "runs/recorded_run.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// One self-contained HTML page of a run's recordings: speed against time with the dwells, size and spacing
/// of the teeth around the ring with the reference tooth marked, amplitude and phase of each dwell with three
/// standard deviations, amplitude and phase against speed in run-ups. `text`: the answer in words, shown
/// below.
[[nodiscard]] std::string readings_page(const Job& job, const RecordedRun& run, const std::string& text);

}  // namespace trimwright

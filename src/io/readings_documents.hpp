#pragma once

#include <string>

#include "runs/recorded_run.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// The readings of a run as a table that a job reads (`readings: file.csv`; docs/file-formats.md): one row
/// per dwell and sensor. Empty phase: not trusted; amplitude `missing`: not to be used; `note` says why.
/// Readings at speeds for which the rotor file has no limit are left out, since a job refuses them.
[[nodiscard]] std::string readings_csv(const Job& job, const RecordedRun& run);

/// The lines of the run-up table in the same form. For plots; readings to balance on are taken at dwells.
[[nodiscard]] std::string sweep_csv(const Job& job, const RecordedRun& run);

/// The `readings 1` document, described in docs/json.md; `sweep` adds the run-up table.
[[nodiscard]] std::string readings_json(const Job& job, const RecordedRun& run, bool sweep);

}  // namespace trimwright

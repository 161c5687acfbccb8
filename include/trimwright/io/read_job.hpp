#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/influence/prior.hpp"
#include "trimwright/io/recording_plan.hpp"
#include "trimwright/runs/job.hpp"
#include "trimwright/trim/trim_request.hpp"

namespace trimwright {

/// A job file with its rotor and readings: what was done, and what is asked of the trim.
struct JobFile {
  Job job;
  TrimRequest request;
  std::optional<RecordingPlan> recording;  ///< how this job's recordings are read, when it says so
  std::optional<Prior> prior;              ///< the fleet's coefficients, when the job names a prior
  std::vector<std::string> sources;        ///< every file that was read
};

/// Whether the tables of readings that a job names are read with it.
enum class ReadingTables {
  read,
  leave_out  ///< they are yet to be made from recordings; `JobFile::request` then stays at its defaults
};

/// Reads a job file (YAML, `trimwright: job 1`), the rotor file it names and its tables of readings, if any
/// (CSV). All three are described in docs/file-formats.md.
[[nodiscard]] Result<JobFile> read_job(const std::string& path, ReadingTables tables = ReadingTables::read);

}  // namespace trimwright

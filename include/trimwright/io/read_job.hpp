#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/runs/job.hpp"
#include "trimwright/trim/trim_request.hpp"

namespace trimwright {

/// A job file with its rotor and readings: what was done, and what is asked of the trim.
struct JobFile {
  Job job;
  TrimRequest request;
  std::vector<std::string> sources;  ///< every file that was read
};

/// Reads a job file (YAML, `trimwright: job 1`), the rotor file it names and its table of readings, if any
/// (CSV). All three are described in docs/file-formats.md.
[[nodiscard]] Result<JobFile> read_job(const std::string& path);

}  // namespace trimwright

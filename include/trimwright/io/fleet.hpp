#pragma once

#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/influence/prior.hpp"

namespace trimwright {

/// Earlier jobs to learn from.
struct Fleet {
  std::vector<FleetJob> jobs;
  std::vector<std::string> sources;  ///< every file read
};

/// All job files (`trimwright: job 1`) in a folder and the folders in it, by path; other YAML files are
/// passed over. Or, when `path` is a file, the jobs of an archive as they were filed, those that were
/// corrected left out. `rotor`: only jobs on this rotor type; empty: all. Errors: no such folder or archive;
/// a job that cannot be read; none on `rotor`.
[[nodiscard]] Result<Fleet> read_fleet(const std::string& path, const std::string& rotor = {});

}  // namespace trimwright

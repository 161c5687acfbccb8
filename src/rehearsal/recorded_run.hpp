#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "files.hpp"

namespace trimwright {

/// Runs of a rehearsal differ, and the same run of the same rehearsal never does.
[[nodiscard]] std::uint64_t seed_of_run(const Rehearsal& rehearsal, std::size_t run);

/// The speeds of every virtual run.
[[nodiscard]] std::vector<double> rehearsal_speeds_rpm(const Rehearsal& rehearsal);

/// Runs the virtual rotor and writes its recording (WAV) to `path`, where no file may be yet. Errors: a file
/// that cannot be written.
[[nodiscard]] Result<void> record_run(const Rehearsal& rehearsal, const Job& job, const RehearsalRun& run,
                                      const std::string& path);

}  // namespace trimwright

#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "rehearsal.hpp"

namespace trimwright {

/// A run as it really is.
struct RealRun {
  const RehearsalRun& asked;
  std::vector<FittedWeights> fitted;
  std::optional<std::size_t> turned_over;  ///< a sensor
  std::vector<double> speeds_rpm;          ///< completed
  Phasor turn = 1.0;                       ///< of all phases, by play of the reference
};

/// Runs of a rehearsal differ, and the same run of the same rehearsal never does.
[[nodiscard]] std::uint64_t seed_of_run(const Rehearsal& rehearsal, std::size_t run);

/// Runs the virtual rotor and writes its recording (WAV) to `path`, where no file may be yet. Errors: a file
/// that cannot be written.
[[nodiscard]] Result<void> record_run(const Rehearsal& rehearsal, const Job& job, const RealRun& run,
                                      const std::string& path);

}  // namespace trimwright

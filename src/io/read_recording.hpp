#pragma once

#include <functional>
#include <optional>
#include <string>

#include "recording_plan.hpp"
#include "runs/recorded_run.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

struct RecordingOptions {
  std::vector<TimeSpan> dwells;   ///< empty: found automatically
  std::optional<KnownRing> ring;  ///< from an earlier recording of the same rotor
  bool accept_truncated = false;  ///< read what is there of a file cut short
  std::function<void(const ReadingNow&)>
      live{};                              ///< told after each quarter of a second of signal; may be empty
  std::function<void(double)> progress{};  ///< told the part read, 0 to 1, after each block; may be empty
};

/// Readings, reference health and the run-up table of one recording, read block by block as the job's plan
/// says; memory does not grow with its length.
///
/// Errors: those of `RecordingReader` and `ReadingExtractor`, with the file; a rotor whose phase convention
/// is unknown, because a recording's phase is known and would be taken for either.
[[nodiscard]] Result<Recording> read_recording(const std::string& file, const RecordingPlan& plan,
                                               const Rotor& rotor, const RecordingOptions& options);

}  // namespace trimwright

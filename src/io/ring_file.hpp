#pragma once

#include <string>

#include "runs/known_ring.hpp"
#include "runs/recorded_run.hpp"
#include "trimwright/error.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// The ring of a recording whose reference is trusted. Error: it is not.
[[nodiscard]] Result<KnownRing> known_ring(const Recording& recording, const Job& job);

/// The `ring 1` file, described in docs/recordings.md.
[[nodiscard]] std::string ring_yaml(const KnownRing& ring);

/// Errors: a file that cannot be read or says something else; another number of teeth or another rotor than
/// the job's, named with the line.
[[nodiscard]] Result<KnownRing> read_ring(const std::string& file, const Job& job);

}  // namespace trimwright

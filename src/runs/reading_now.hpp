#pragma once

#include "trimwright/job.hpp"

namespace trimwright {

/// What a place reads now, once per revolution: the latest reading there of a run with what is fitted now; or
/// else the latest of any run, whatever was in. Runs set aside take no part. Null where there is none.
[[nodiscard]] const Reading* reading_now(const Job& job, const Place& place);

/// The same of the readings that have a phase.
[[nodiscard]] const Reading* phasor_now(const Job& job, const Place& place);

}  // namespace trimwright

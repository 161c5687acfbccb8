#pragma once

#include <span>
#include <string>

#include "runs/recorded_run.hpp"

namespace trimwright {

/// What a recording in progress says, in one line: speed, then per place amplitude and phase with the phase's
/// standard deviation, then how long to hold on for one degree, or that it is enough. `sensors`: of the
/// channels, in their order.
[[nodiscard]] std::string live_line(const ReadingNow& now, std::span<const RecordedSensor> sensors,
                                    const Rotor& rotor);

}  // namespace trimwright

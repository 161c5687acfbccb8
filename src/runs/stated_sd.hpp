#pragma once

#include <optional>

#include "trimwright/job.hpp"

namespace trimwright {

/// What is stated of how well a reading repeats, per real component: its own, or else its sensor's.
[[nodiscard]] inline std::optional<double> stated_sd(const Rotor& rotor, const Reading& reading) {
  return reading.repeatability ? reading.repeatability : rotor.sensors[reading.sensor].repeatability;
}

}  // namespace trimwright

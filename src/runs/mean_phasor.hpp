#pragma once

#include <optional>

#include "trimwright/job.hpp"

namespace trimwright {

/// Mean of what a run reads once per revolution at a place, with a phase; empty where it reads nothing so.
inline std::optional<Phasor> mean_phasor(const Run& run, std::size_t speed, std::size_t sensor) {
  Phasor sum = 0.0;
  double count = 0.0;
  for (const auto& one : run.readings)
    if (one.speed == speed && one.sensor == sensor && one.component == Component::once_per_rev && one.x)
      sum += *one.x, count += 1.0;
  return count > 0.0 ? std::optional(sum / count) : std::nullopt;
}

}  // namespace trimwright

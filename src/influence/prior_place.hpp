#pragma once

#include <cmath>

#include "base/name.hpp"
#include "trimwright/prior.hpp"

namespace trimwright {

/// Whether a prior's coefficient is that of a job's speed point, sensor and plane (an index into the
/// rotor's).
[[nodiscard]] inline bool is_of_place(const PriorCoefficient& one, const Job& job, std::size_t speed,
                                      std::size_t sensor, std::size_t plane) {
  return std::abs(one.rpm - job.speeds_rpm[speed]) <= job.rotor.speed_tolerance_rpm &&
         alike(one.sensor, job.rotor.sensors[sensor].name) &&
         alike(one.plane, job.rotor.planes[plane].name) && one.unit == job.rotor.sensors[sensor].unit.symbol;
}

}  // namespace trimwright

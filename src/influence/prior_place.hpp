#pragma once

#include <utility>
#include <vector>

#include "base/name.hpp"
#include "trimwright/prior.hpp"

namespace trimwright {

/// Whether a prior's coefficient is that of a job's speed point, sensor and plane (an index into the
/// rotor's).
[[nodiscard]] inline bool is_of_place(const PriorCoefficient& one, const Job& job, std::size_t speed,
                                      std::size_t sensor, std::size_t plane) {
  return same_speed(job.rotor, one.rpm, job.speeds_rpm[speed]) &&
         alike(one.sensor, job.rotor.sensors[sensor].name) &&
         alike(one.plane, job.rotor.planes[plane].name) && one.unit == job.rotor.sensors[sensor].unit.symbol;
}

/// The row that row `i` of `rows` (speed, sensor) shares its coefficients with: the first at the same speed
/// and sensor, however that speed was come to.
[[nodiscard]] inline std::size_t sharing_row(const Job& job,
                                             const std::vector<std::pair<std::size_t, std::size_t>>& rows,
                                             std::size_t i) {
  std::size_t first = 0;
  while (rows[first].second != rows[i].second ||
         job.speeds_rpm[rows[first].first] != job.speeds_rpm[rows[i].first])
    ++first;
  return first;
}

}  // namespace trimwright

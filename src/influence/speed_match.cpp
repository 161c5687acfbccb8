#include "speed_match.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace trimwright {

namespace {

/// Of the first reading of a speed point: the one the others are to repeat.
double first_rpm(const Job& job, const Reading& reading) {
  for (const auto& run : job.runs)
    for (const auto& one : run.readings)
      if (one.speed == reading.speed) return one.rpm;
  return reading.rpm;
}

/// Whether two speed points of one approach and state have none between them.
bool next_to_each_other(const Job& job, std::size_t one, std::size_t other) {
  const ReadingState state = state_at(job, one);
  if (one == other || state_at(job, other) != state) return false;
  for (std::size_t s = std::min(one, other) + 1; s < std::max(one, other); ++s)
    if (state_at(job, s) == state) return false;
  return true;
}

}  // namespace

double speed_effect(const Job& job, const Run& run, const Reading& reading) {
  if (!reading.x) return 0.0;
  double steepest = 0.0;
  for (const auto& other : run.readings) {
    if (other.sensor != reading.sensor || !other.x || other.rpm == reading.rpm ||
        !next_to_each_other(job, reading.speed, other.speed))
      continue;
    steepest = std::max(steepest, std::abs(*other.x - *reading.x) / std::abs(other.rpm - reading.rpm));
  }
  return steepest * std::abs(reading.rpm - first_rpm(job, reading));
}

std::string speed_mismatch(const Job& job, const Run& run, const Reading& reading) {
  const double changed = speed_effect(job, run, reading);
  if (changed == 0.0) return {};
  const double effect = changed / std::max(std::abs(*reading.x), 1e-300);
  if (effect <= largest_speed_effect) return {};
  return fmt::format(
      "read {:.0f} rpm off its speed point, where the vibration changes by about {:.0f} % over that distance",
      std::abs(reading.rpm - first_rpm(job, reading)), 100.0 * effect);
}

}  // namespace trimwright

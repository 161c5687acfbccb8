#include "speed_match.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace trimwright {

std::string speed_mismatch(const Job& job, const Run& run, const Reading& reading) {
  const double off = std::abs(reading.rpm - job.speeds_rpm[reading.speed]);
  if (off == 0.0 || !reading.x) return {};
  double steepest = 0.0;
  for (const auto& other : run.readings) {
    const auto apart =
        other.speed > reading.speed ? other.speed - reading.speed : reading.speed - other.speed;
    if (other.sensor != reading.sensor || !other.x || apart != 1) continue;
    steepest = std::max(steepest, std::abs(*other.x - *reading.x) / std::abs(other.rpm - reading.rpm));
  }
  const double effect = steepest * off / std::max(std::abs(*reading.x), 1e-300);
  if (effect <= largest_speed_effect) return {};
  return fmt::format(
      "read {:.0f} rpm off its speed point, where the vibration changes by about {:.0f} % over that distance",
      off, 100.0 * effect);
}

}  // namespace trimwright

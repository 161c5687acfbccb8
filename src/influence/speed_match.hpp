#pragma once

#include <string>

#include "trimwright/job.hpp"

namespace trimwright {

/// Share of the amplitude that the vibration may change between the speed of a reading and its speed point
/// before the reading is left out (our own choice; a trial effect is typically larger than this).
inline constexpr double largest_speed_effect = 0.25;

/// What being read off its speed point (the speed of the point's first reading) may have changed `reading`
/// by: the distance times the steepest change towards the neighbouring speed points of its run. Peak.
[[nodiscard]] double speed_effect(const Job& job, const Run& run, const Reading& reading);

/// Why `reading`, taken off its speed point, cannot stand for it: near a resonance the vibration changes too
/// much between the two speeds, judged by the run's readings at the neighbouring speed points. Empty when it
/// can.
[[nodiscard]] std::string speed_mismatch(const Job& job, const Run& run, const Reading& reading);

}  // namespace trimwright

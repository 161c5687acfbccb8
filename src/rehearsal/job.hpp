#pragma once

#include <string>

#include "rehearsal.hpp"

namespace trimwright {

/// Volts of the recorder's full scale, of a tooth channel and of a vibration channel.
inline constexpr double tooth_volts_full_scale = 20.0, vibration_volts_full_scale = 1.0;
/// Of the virtual sensors: volts per mm/s.
inline constexpr double volts_per_mm_s = 0.004;
/// The vibration chain is late by this [s].
inline constexpr double vibration_delay_s = 20e-6;
/// Sensing elements of the pickup that are recorded.
inline constexpr int recorded_elements = 2;

/// The whole of job.yaml with `run` added and `table` among its readings.
[[nodiscard]] Result<std::string> job_with_run(const Rehearsal& rehearsal, const RehearsalRun& run,
                                               const std::string& table);

}  // namespace trimwright

#pragma once

#include <string>

#include "start_job.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

/// Each reads the answer of one question, as a person writes it, into the job. What is told of several
/// planes, sensors or runs is written "front: 250 mm; rear: 10 in", or in turn "250 mm; 10 in", or once for
/// all. Errors: it does not fit the question, or what was answered before.
[[nodiscard]] Result<void> take_name(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_serial(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_rotation(const std::string& answer, StartJob& job);  ///< "clockwise from aft"
[[nodiscard]] Result<void> take_phase(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_teeth(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_planes(const std::string& answer, StartJob& job);  ///< "front plane 32, ..."
[[nodiscard]] Result<void> take_slots(const std::string& answer, StartJob& job);   ///< where slot 1 is
[[nodiscard]] Result<void> take_radius(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_weights(const std::string& answer, StartJob& job);  ///< "S1 2.5 g, S2 5 g"
[[nodiscard]] Result<void> take_sensors(const std::string& answer,
                                        StartJob& job);  ///< "front in/s peak, ..."
[[nodiscard]] Result<void> take_limits(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_repeatability(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_speeds(const std::string& answer, StartJob& job);  ///< "3200 3600 4104 rpm"
[[nodiscard]] Result<void> take_speed_100(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_mass(const std::string& answer, StartJob& job);
[[nodiscard]] Result<void> take_fitted(const std::string& answer, StartJob& job);  ///< "trial 1: front 7 S2"

}  // namespace trimwright

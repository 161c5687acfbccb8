#pragma once

#include "joint_posterior.hpp"

namespace trimwright {

/// Every figure of the job's events that turn or scale readings, unknown ones at zero.
[[nodiscard]] std::vector<EventPart> event_parts(const Job& job);

/// Angular speed of the highest speed point [rad/s]: the figure of a delay is by how much it turns phases
/// there.
[[nodiscard]] double highest_angular_speed(const Job& job);

/// d log(x) / d value of a reading of run `run`, x as it would be since the last event.
[[nodiscard]] Phasor event_exponent(const EventPart& part, const Job& job, std::size_t run, double rpm,
                                    std::size_t sensor);

/// One column for each new baseline after the first of `runs` and before run `end`, rows as `runs`: 1 for a
/// run before it.
[[nodiscard]] Eigen::MatrixXd new_baselines(const Job& job, const std::vector<std::size_t>& runs,
                                            std::size_t end);

/// The events of a job in a system that has its readings and runs: those before a run with a usable reading,
/// or after it.
void add_events(const Job& job, JointSystem& system);

/// Open events at the values that fit readings (and prior) best, the noise given: a search over the circle
/// for every angle, then C. F. Gauss's and I. Newton's steps with baselines and coefficients fitted at every
/// one, until they stand. `fitted` and `sd` are set. Nothing is done where no event is open.
void settle_events(JointSystem& system, const NoiseModel& noise, JointPrior* prior = nullptr);

/// Error where the runs (and the prior) leave an event open: which run would settle it.
[[nodiscard]] Result<void> check_events(const Job& job, const JointSystem& system, bool prior = false);

}  // namespace trimwright

#pragma once

#include "trimwright/job.hpp"

namespace trimwright {

/// What a trim found before it changed anything: the one home of "as found" and "before". Run `run` is the
/// check run (or, the number of runs, the one that is still to come), and as found is of the visit that it
/// belongs to: this begins with the job's first run, or with the last one before `run` before which the
/// rotor's baseline became another (relubricated, blades reseated). What was so before is of another visit.

/// The first run of the visit that is not set aside; where all before `run` are, the first of them.
[[nodiscard]] std::size_t run_as_found(const Job& job, std::size_t run);

/// What that run had fitted, one entry per plane.
[[nodiscard]] const std::vector<FittedWeights>& fitted_as_found(const Job& job, std::size_t run);

/// The mean of what one run read at a place.
struct ReadAsFound {
  double amplitude = 0.0;  ///< peak, in the sensor's unit symbol; of `x` where there are phases
  std::optional<Phasor> x;
};

/// By the first run of the visit that reads the place with the weights as found, before `run`; empty where
/// none does.
[[nodiscard]] std::optional<ReadAsFound> read_as_found(const Job& job, std::size_t run, std::size_t speed,
                                                       std::size_t sensor, Component component);

}  // namespace trimwright

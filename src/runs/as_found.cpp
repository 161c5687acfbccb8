#include "as_found.hpp"

#include <algorithm>

#include "mean_phasor.hpp"
#include "same_moments.hpp"

namespace trimwright {
namespace {

std::optional<ReadAsFound> mean_reading(const Run& run, std::size_t speed, std::size_t sensor,
                                        Component component) {
  double sum = 0.0, count = 0.0;
  for (const auto& one : run.readings)
    if (one.speed == speed && one.sensor == sensor && one.component == component)
      sum += one.amplitude, count += 1.0;
  if (count == 0.0) return std::nullopt;
  const auto x = component == Component::overall ? std::nullopt : mean_phasor(run, speed, sensor);
  return ReadAsFound{x && count > 1.0 ? std::abs(*x) : sum / count, x};
}

}  // namespace

std::size_t run_as_found(const Job& job, std::size_t run) {
  const auto renewed = [&](std::size_t r) { return new_baseline_between(job, r - 1, r); };
  std::size_t begin = run > 0 ? run - 1 : 0;
  while (begin > 0 && !renewed(begin)) --begin;
  for (std::size_t r = begin; r < run; ++r)
    if (!job.runs[r].set_aside) return r;
  return begin;
}

const std::vector<FittedWeights>& fitted_as_found(const Job& job, std::size_t run) {
  return job.runs[run_as_found(job, run)].fitted;
}

std::optional<ReadAsFound> read_as_found(const Job& job, std::size_t run, std::size_t speed,
                                         std::size_t sensor, Component component) {
  const std::size_t found = run_as_found(job, run);
  const auto weights = run_unbalance(job, found);
  for (std::size_t r = found; r < run; ++r) {
    if (job.runs[r].set_aside || !same_moments(run_unbalance(job, r), weights)) continue;
    if (const auto read = mean_reading(job.runs[r], speed, sensor, component)) return read;
  }
  return std::nullopt;
}

}  // namespace trimwright

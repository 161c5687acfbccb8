#include "reading_now.hpp"

#include "same_moments.hpp"
#include "used_runs.hpp"

namespace trimwright {
namespace {

const Reading* latest_reading(const Job& job, const Place& place, bool with_phase) {
  const Reading *last = nullptr, *as_now = nullptr;
  const auto now = unbalance_now(job);
  for (const std::size_t run : runs_read(job)) {
    const bool fitted_now = same_moments(run_unbalance(job, run), now);
    for (const auto& reading : job.runs[run].readings)
      if (reading.speed == place.speed && reading.sensor == place.sensor &&
          reading.component == Component::once_per_rev && (reading.x || !with_phase))
        (fitted_now ? as_now : last) = &reading;
  }
  return as_now != nullptr ? as_now : last;
}

}  // namespace

const Reading* reading_now(const Job& job, const Place& place) { return latest_reading(job, place, false); }

const Reading* phasor_now(const Job& job, const Place& place) { return latest_reading(job, place, true); }

}  // namespace trimwright

#include "trimwright/job.hpp"

#include <cassert>

namespace trimwright {

namespace {

/// Total moments of `fitted` plus the known changes of the first `runs` runs.
std::vector<std::complex<double>> unbalance_of(const Job& job, const std::vector<FittedWeights>& fitted,
                                               std::size_t runs) {
  std::vector<std::complex<double>> unbalance(job.rotor.planes.size());
  for (std::size_t p = 0; p < unbalance.size(); ++p)
    unbalance[p] = total_moment(job.rotor.planes[p], fitted[p]);
  const auto changes = known_changes(job, runs);
  for (std::size_t p = 0; p < unbalance.size(); ++p) unbalance[p] += changes[p];
  return unbalance;
}

}  // namespace

std::vector<std::complex<double>> known_changes(const Job& job, std::size_t runs) {
  std::vector<std::complex<double>> changes(job.rotor.planes.size());
  for (std::size_t r = 0; r < runs; ++r)
    for (const auto& change : job.runs[r].changes) changes[change.plane] += change.moment_g_mm;
  return changes;
}

std::vector<std::complex<double>> run_unbalance(const Job& job, std::size_t run) {
  assert(run < job.runs.size());
  return unbalance_of(job, job.runs[run].fitted, run + 1);
}

std::vector<std::complex<double>> unbalance_with(const Job& job, const std::vector<FittedWeights>& fitted) {
  return unbalance_of(job, fitted, job.runs.size());
}

std::vector<std::complex<double>> unbalance_now(const Job& job) {
  return unbalance_with(job, job.fitted_now);
}

bool event_between(const Job& job, std::size_t first, std::size_t last) {
  for (std::size_t r = first + 1; r <= last; ++r)
    if (!job.runs[r].before.empty()) return true;
  return false;
}

bool new_baseline_between(const Job& job, std::size_t first, std::size_t last) {
  for (std::size_t r = first + 1; r <= last; ++r)
    for (const Event& event : job.runs[r].before)
      if (event.kind == Event::Kind::baseline_new) return true;
  return false;
}

Job with_phase_convention(Job job, PhaseConvention convention) {
  assert(convention != PhaseConvention::unknown);
  const bool mirrored = job.rotor.phase == PhaseConvention::unknown ? convention == PhaseConvention::lead
                                                                    : convention != job.rotor.phase;
  job.rotor.phase = convention;
  if (!mirrored) return job;
  for (auto& run : job.runs) {
    for (auto& event : run.before)
      if (event.kind == Event::Kind::reference_moved && event.by) event.by = -*event.by;
    for (auto& reading : run.readings)
      if (reading.x) reading.x = std::conj(*reading.x / reading.phase_factor) * reading.phase_factor;
  }
  return job;
}

}  // namespace trimwright

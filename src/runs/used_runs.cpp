#include "used_runs.hpp"

#include <algorithm>

#include "base/name.hpp"
#include "same_moments.hpp"

namespace trimwright {

std::optional<std::size_t> run_named(const Job& job, std::string_view name) {
  for (std::size_t r = 0; r < job.runs.size(); ++r)
    if (alike(job.runs[r].name, name)) return r;
  return std::nullopt;
}

std::vector<std::size_t> runs_used(const Job& job) {
  std::vector<std::size_t> runs;
  for (std::size_t r = 0; r < job.runs.size(); ++r)
    if (!job.runs[r].set_aside) runs.push_back(r);
  return runs;
}

std::vector<std::size_t> runs_read(const Job& job) {
  auto runs = runs_used(job);
  std::erase_if(runs, [&](std::size_t run) { return job.runs[run].readings.empty(); });
  return runs;
}

std::vector<std::size_t> planes_changed(const Job& job, const std::vector<std::size_t>& runs) {
  std::vector<std::size_t> planes;
  if (runs.empty()) return planes;
  const auto first = run_unbalance(job, runs.front());
  std::vector<bool> changed(first.size());
  for (const std::size_t run : runs) {
    const auto unbalance = run_unbalance(job, run);
    for (std::size_t p = 0; p < first.size(); ++p)
      changed[p] = changed[p] || !same_moment(unbalance[p], first[p]);
  }
  for (std::size_t p = 0; p < first.size(); ++p)
    if (changed[p]) planes.push_back(p);
  return planes;
}

}  // namespace trimwright

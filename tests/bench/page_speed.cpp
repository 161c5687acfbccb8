// How long the balance page takes to make, plan and model given: processor time of one thread, median of 21.
//
//   page_speed JOB
//
// For 6 planes of 64 slots and 64 rows: python3 tests/page/large_job.py FOLDER, then FOLDER/job.yaml.

#include <fmt/format.h>

#include <algorithm>
#include <ctime>
#include <vector>

#include "trimwright/files.hpp"
#include "trimwright/report.hpp"

using namespace trimwright;

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  auto file = read_job(argv[1]);
  if (!file) return 1;
  file->request.time_limit_s = 1.0;
  const auto settled = settle_and_fit(file->job, file->request.planes);
  if (!settled) return 1;
  const auto& [job, model] = *settled;
  const auto trim = plan_trim(job, model, file->request);
  if (!trim) return 1;
  const auto plan = plan_steps(job, *trim);
  std::vector<double> times;
  std::size_t size = 0;
  for (int i = 0; i < 21; ++i) {
    const auto begin = std::clock();
    size = balance_page(job, model, *trim, plan, page_json(job, model, *trim)).size();
    times.push_back(1e3 * static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC);
  }
  std::nth_element(times.begin(), times.begin() + 10, times.end());
  fmt::print("{} planes, {} rows: {:.1f} ms, {} kB\n", job.rotor.planes.size(), model.rows.size(), times[10],
             size / 1000);
}

// How long the exact slot search takes: a table, one line for each family of problems.
//
//   slot_search_bench [instances per family] [time limit in s] [only families whose name contains this]
//                     [first seed] [threads]
//
// Times, the limit too, are processor time of the one thread; with several threads (0: as many as there are
// processors) they are times by the clock. Each problem is solved for the whole trade-off
// m = 0..max, to within 1 % or 0.005 of the limit, tables included.

#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <string>
#include <vector>

#include "bench/slot_families.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::bench;

std::vector<Family> families() {
  std::vector<Family> all;
  for (const SlotObjective objective : {SlotObjective::worst_ratio, SlotObjective::least_squares}) {
    for (const bool hard : {false, true}) {
      for (int planes = 1; planes <= 3; ++planes) {
        for (const int slots : {36, 72}) {
          const Family family{planes, slots, slots / 6, slots / 2 - (slots == 36 ? 6 : 0),
                              8,      hard,  hard,      objective};
          all.push_back(family);
        }
      }
    }
    for (int planes = 1; planes <= 3; ++planes) {
      all.push_back({planes, 72, 12, 12, 8, false, false, objective});
      all.push_back({planes, 72, 12, 12, 8, true, false, objective});
      all.push_back({planes, 72, 12, 12, 8, false, true, objective});
    }
    all.push_back({6, 120, 40, 64, 12, true, true, objective});
  }
  for (const EdgeRule rule : {EdgeRule::pieces, EdgeRule::pieces_of_plane, EdgeRule::mass, EdgeRule::moment,
                              EdgeRule::neighbours, EdgeRule::alike}) {
    for (int planes = 1; planes <= 2; ++planes) {
      for (const bool hard : {false, true})
        all.push_back({planes, 36, 6, 12, 8, hard, hard, SlotObjective::worst_ratio, rule});
    }
  }
  return all;
}

/// Largest resident memory of this process so far.
double peak_mb() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return static_cast<double>(usage.ru_maxrss) / 1024.0;
}

void measure(const Family& family, int instances, double time_limit_s, unsigned first_seed, int threads) {
  const Deadline::Now now = threads == 1 ? processor_now : Deadline::Clock::now;
  std::vector<double> times;
  int open = 0;
  double largest_gap = 0.0;
  unsigned slowest = 0;
  for (int i = 0; i < instances; ++i) {
    const auto seed = first_seed + static_cast<unsigned>(i);
    SlotProblem problem = draw_problem(family, seed);
    set_at_edge(family.rule, problem, family.planes);
    const Deadline::Clock::time_point start = now();
    const std::vector<SlotChoice> answers =
        search_slots(problem, {0.01, 0.005, Deadline::after(time_limit_s, now), threads});
    const double took_ms = std::chrono::duration<double, std::milli>(now() - start).count();
    if (times.empty() || took_ms > *std::max_element(times.begin(), times.end())) slowest = seed;
    times.push_back(took_ms);
    for (const SlotChoice& answer : answers) {
      if (answer.stopped != SlotChoice::Stopped::time_limit) continue;
      ++open;
      largest_gap = std::max(largest_gap, (answer.objective - answer.bound) / answer.objective);
    }
  }
  std::sort(times.begin(), times.end());
  fmt::print("{:38s} {:9.1f} {:9.1f} {:9.1f} {:6d} {:8.1f} {:9d} {:8.0f}\n", family.name(),
             times[times.size() / 2], times[times.size() * 9 / 10], times.back(), open, 100.0 * largest_gap,
             slowest, peak_mb());
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int instances = argc > 1 ? std::atoi(argv[1]) : 20;
  const double time_limit_s = argc > 2 ? std::atof(argv[2]) : 10.0;
  const std::string only = argc > 3 ? argv[3] : "";
  const unsigned first_seed = argc > 4 ? static_cast<unsigned>(std::atoi(argv[4])) : 1000;
  const int threads = argc > 5 ? std::atoi(argv[5]) : 1;
  fmt::print("{:38s} {:>9s} {:>9s} {:>9s} {:>6s} {:>8s} {:>9s} {:>8s}\n", "family (whole trade-off)",
             "median ms", "90 % ms", "worst ms", "open", "gap %", "slowest", "peak MB");
  for (const Family& family : families()) {
    if (family.name().find(only) != std::string::npos)
      measure(family, instances, time_limit_s, first_seed, threads);
  }
  return 0;
}

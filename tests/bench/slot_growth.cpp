// How the exact slot search grows, as comma-separated lines for slot_growth.py.
//
//   slot_growth growth [instances]       processor time of a whole trade-off against slots, weights, planes,
//                                        changes
//   slot_growth gap [instances] [limit]  the far end: gap of each number of changes against the time limit
//   slot_growth memory [calls]           resident memory after each of some calls
//
// growth: families without scarce stock and with; median and worst over the instances, whole trade-off to 1 %
// or 0.005 of the limit, no time limit that matters.

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <string>
#include <vector>

#include "bench/slot_families.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::bench;

constexpr unsigned kFirstSeed = 2000;
constexpr double kTimeLimit = 20.0;

double processor_ms(const SlotProblem& problem, double time_limit_s, std::vector<SlotChoice>& answers) {
  const std::clock_t start = std::clock();
  answers = search_slots(problem, {0.01, 0.005, processor_limit(time_limit_s), 1});
  return 1e3 * static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
}

void measure(const std::string& sweep, int value, const Family& family, int instances) {
  std::vector<double> times;
  int open = 0;
  for (int i = 0; i < instances; ++i) {
    std::vector<SlotChoice> answers;
    times.push_back(
        processor_ms(draw_problem(family, kFirstSeed + static_cast<unsigned>(i)), kTimeLimit, answers));
    open += static_cast<int>(std::count_if(answers.begin(), answers.end(), [](const SlotChoice& answer) {
      return answer.stopped == SlotChoice::Stopped::time_limit;
    }));
  }
  std::sort(times.begin(), times.end());
  fmt::print("{},{},{},{:.3f},{:.3f},{}\n", sweep, family.stock ? "fitted and scarce" : "free", value,
             times[times.size() / 2], times.back(), open);
  std::fflush(stdout);
}

void growth(int instances) {
  fmt::print("sweep,stock,value,median ms,worst ms,open\n");
  for (const bool scarce : {false, true}) {
    const Family base{2, 36, 6, 12, 8, scarce, scarce, SlotObjective::worst_ratio};
    for (const int slots : {12, 24, 36, 48, 60, 72, 96, 120}) {
      Family family = base;
      family.slots = slots;
      measure("slots", slots, family, instances);
    }
    for (const int weights : {1, 2, 4, 6, 9, 12, 20, 30, 40}) {
      Family family = base;
      family.weights = weights;
      measure("weights", weights, family, instances);
    }
    for (int planes = 1; planes <= 4; ++planes) {
      Family family = base;
      family.planes = planes;
      measure("planes", planes, family, instances);
    }
    for (int changes = 1; changes <= 10; ++changes) {
      Family family = base;
      family.max_changes = changes;
      measure("changes", changes, family, instances);
    }
  }
}

void gap(int instances, double only_limit) {
  fmt::print("limit s,instance,changes,gap %,objective,processor s\n");
  const Family family{6, 120, 40, 64, 12, true, true, SlotObjective::worst_ratio};
  for (const double limit : {0.1, 0.3, 1.0, 3.0, 10.0, 30.0}) {
    if (only_limit > 0.0 && limit != only_limit) continue;
    for (int i = 0; i < instances; ++i) {
      std::vector<SlotChoice> answers;
      const double ms =
          processor_ms(draw_problem(family, kFirstSeed + static_cast<unsigned>(i)), limit, answers);
      for (std::size_t m = 1; m < answers.size(); ++m)
        fmt::print("{},{},{},{:.3f},{:.6f},{:.3f}\n", limit, i, m,
                   100.0 * (answers[m].objective - answers[m].bound) / answers[m].objective,
                   answers[m].objective, 1e-3 * ms);
      std::fflush(stdout);
    }
  }
}

double resident_mb() {
  std::ifstream statm("/proc/self/statm");
  double total = 0.0;
  double resident = 0.0;
  statm >> total >> resident;
  return resident * static_cast<double>(sysconf(_SC_PAGESIZE)) / 1048576.0;
}

void memory(int calls) {
  fmt::print("family,call,resident MB\n");
  for (const Family& family : {Family{3, 72, 12, 36, 8, true, true, SlotObjective::worst_ratio},
                               Family{6, 120, 40, 64, 12, true, true, SlotObjective::worst_ratio}}) {
    for (int call = 0; call < calls; ++call) {
      std::vector<SlotChoice> answers;
      processor_ms(draw_problem(family, kFirstSeed + static_cast<unsigned>(call)), 2.0, answers);
      fmt::print("{},{},{:.1f}\n", family.name(), call, resident_mb());
      std::fflush(stdout);
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  const std::string mode = argc > 1 ? argv[1] : "";
  const int count = argc > 2 ? std::atoi(argv[2]) : 5;
  if (mode == "growth") return growth(count), 0;
  if (mode == "gap") return gap(count, argc > 3 ? std::atof(argv[3]) : 0.0), 0;
  if (mode == "memory") return memory(count), 0;
  fmt::print(stderr, "slot_growth growth|gap|memory [COUNT]\n");
  return 2;
}

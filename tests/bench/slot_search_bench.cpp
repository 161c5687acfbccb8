// How long the exact slot search takes: a table, one line for each family of problems.
//
//   slot_search_bench [instances per family] [time limit in s] [only families whose name contains this]
//
// Times are processor time of the one thread. Each problem is solved for the whole trade-off m = 0..max, to
// within 1 % or 0.005 of the limit, tables included.

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <ctime>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "trimwright/trim/slot_search.hpp"

namespace {

using namespace trimwright;

struct Family {
  int planes = 1;
  int slots = 36;
  int weights = 6;
  int rows = 12;
  int max_changes = 8;
  bool fitted = false;  ///< a quarter of the slots hold a weight; fillers with mass
  bool stock = false;   ///< 0..3 of each weight
  SlotObjective objective = SlotObjective::worst_ratio;

  [[nodiscard]] std::string name() const {
    return fmt::format("{} p{} s{} w{} n{} m{}{}{}",
                       objective == SlotObjective::worst_ratio ? "worst" : "least", planes, slots, weights,
                       rows, max_changes, fitted ? " fitted" : "", stock ? " stock" : "");
  }
};

/// Weights of 300..1000 g mm; responses such that some 3 to 6 of them are needed; a residual of which
/// 5 to 30 % no weight can cancel.
SlotProblem draw_problem(const Family& family, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform;
  const auto gauss = [&] {
    const double re = normal(random);
    return std::complex<double>(re, normal(random)) * std::sqrt(0.5);
  };
  const auto moment = [&](int piece) {
    if (piece < 0) return family.fitted ? 120.0 : 0.0;
    return family.weights == 1 ? 1000.0 : 300.0 + 700.0 * piece / (family.weights - 1);
  };
  SlotProblem problem;
  problem.objective = family.objective;
  problem.max_changes = family.max_changes;
  problem.response = Eigen::MatrixXcd(family.rows, family.planes);
  problem.residual = Eigen::VectorXcd(family.rows);
  for (int i = 0; i < family.rows; ++i) {
    for (int p = 0; p < family.planes; ++p) problem.response(i, p) = gauss() / 2000.0;
  }
  const double pieces = 3.0 + 3.0 * uniform(random);
  const double rest = 0.05 + 0.25 * uniform(random);
  Eigen::VectorXcd needed(family.planes);
  for (int p = 0; p < family.planes; ++p) {
    needed[p] = std::polar(900.0 * pieces / family.planes, 2.0 * std::numbers::pi * uniform(random));
  }
  problem.residual = -problem.response * needed;
  for (int i = 0; i < family.rows; ++i) problem.residual[i] += rest * gauss();
  for (int p = 0; p < family.planes; ++p) {
    for (int s = 0; s < family.slots; ++s) {
      const double angle = 2.0 * std::numbers::pi * (s + 0.25) / family.slots;
      const bool holds_one = family.fitted && uniform(random) < 0.25;
      SearchSlot slot;
      slot.plane = p;
      const int holds = holds_one ? static_cast<int>(uniform(random) * family.weights) : -1;
      if (holds >= 0) slot.holds = {holds};
      for (int piece = -1; piece < family.weights; ++piece) {
        if (piece == holds) continue;
        slot.options.push_back({std::polar(moment(piece) - moment(holds), angle), {}});
        if (piece >= 0) slot.options.back().pieces = {piece};
      }
      problem.slots.push_back(slot);
    }
  }
  for (int piece = 0; family.stock && piece < family.weights; ++piece) {
    problem.in_stock.emplace_back(static_cast<int>(uniform(random) * 4.0));
  }
  return problem;
}

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
  return all;
}

void measure(const Family& family, int instances, double time_limit_s) {
  std::vector<double> times;
  int open = 0;
  double largest_gap = 0.0;
  unsigned slowest = 0;
  for (int i = 0; i < instances; ++i) {
    const auto seed = static_cast<unsigned>(1000 + i);
    const SlotProblem problem = draw_problem(family, seed);
    const std::clock_t start = std::clock();
    const std::vector<SlotChoice> answers = search_slots(problem, {0.01, 0.005, time_limit_s});
    const double took_ms = 1e3 * static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    if (times.empty() || took_ms > *std::max_element(times.begin(), times.end())) slowest = seed;
    times.push_back(took_ms);
    for (const SlotChoice& answer : answers) {
      if (answer.stopped != SlotChoice::Stopped::time_limit) continue;
      ++open;
      largest_gap = std::max(largest_gap, (answer.objective - answer.bound) / answer.objective);
    }
  }
  std::sort(times.begin(), times.end());
  fmt::print("{:38s} {:9.1f} {:9.1f} {:9.1f} {:6d} {:8.1f} {:9d}\n", family.name(), times[times.size() / 2],
             times[times.size() * 9 / 10], times.back(), open, 100.0 * largest_gap, slowest);
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int instances = argc > 1 ? std::atoi(argv[1]) : 20;
  const double time_limit_s = argc > 2 ? std::atof(argv[2]) : 10.0;
  const std::string only = argc > 3 ? argv[3] : "";
  fmt::print("{:38s} {:>9s} {:>9s} {:>9s} {:>6s} {:>8s} {:>9s}\n", "family (whole trade-off)", "median ms",
             "90 % ms", "worst ms", "open", "gap %", "slowest");
  for (const Family& family : families()) {
    if (family.name().find(only) != std::string::npos) measure(family, instances, time_limit_s);
  }
  return 0;
}

#pragma once

#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <complex>
#include <ctime>
#include <numbers>
#include <random>
#include <string>

#include "trimwright/slot_search.hpp"

namespace trimwright::bench {

/// A limit of processor time of this process: what other work on the machine takes does not count.
inline Deadline processor_limit(double seconds) {
  return Deadline::after(seconds, [] {
    const double used_s = static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
    return Deadline::Clock::time_point(
        std::chrono::duration_cast<Deadline::Clock::duration>(std::chrono::duration<double>(used_s)));
  });
}

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
inline SlotProblem draw_problem(const Family& family, unsigned seed) {
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

}  // namespace trimwright::bench

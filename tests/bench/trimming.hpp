#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"
#include "virtual_fleet.hpp"

namespace trimwright::testing {

using Moments = Eigen::Vector2cd;

inline constexpr double target = 0.3;
inline constexpr double limit = 2.0;            // of the virtual fleet's sensors
inline constexpr double handbook_trial = 0.48;  // [in/s], 40 % of the baseline

/// A virtual rotor and the runs made on it.
struct Bench {
  const VirtualFleet& fleet;
  FleetRotor rotor;
  FleetNoise noise;
  FleetDraws draws;
  std::vector<Run> runs;

  /// Makes a run; whether every reading meets the target.
  bool run(const Moments& u) {
    runs.push_back(fleet.run(rotor, "run " + std::to_string(runs.size() + 1), u, noise, draws));
    for (const auto& reading : runs.back().readings)
      if (reading.amplitude > target) return false;
    return true;
  }
  /// Largest amplitude of the last run [in/s].
  [[nodiscard]] double worst() const {
    double amplitude = 0.0;
    for (const auto& reading : runs.back().readings) amplitude = std::max(amplitude, reading.amplitude);
    return amplitude;
  }
  [[nodiscard]] int above_limit() const {
    return static_cast<int>(std::ranges::count_if(runs, [](const Run& run) {
      return std::ranges::any_of(run.readings, [](const Reading& r) { return r.amplitude > limit; });
    }));
  }
  [[nodiscard]] Job job() const { return fleet.job(runs); }
  [[nodiscard]] int count() const { return static_cast<int>(runs.size()); }
};

inline Eigen::VectorXcd fitted_moments(const Job& job, const InfluencePosterior& posterior) {
  const auto now = unbalance_now(job);
  Eigen::VectorXcd u(static_cast<Eigen::Index>(posterior.planes.size()));
  for (std::size_t p = 0; p < posterior.planes.size(); ++p)
    u(static_cast<Eigen::Index>(p)) = now[posterior.planes[p]];
  return u;
}

/// Moments to add by the mean of the posterior alone.
inline Eigen::VectorXcd plain_correction(const InfluencePosterior& posterior, const Eigen::VectorXcd& now,
                                         bool least_squares) {
  const auto rows = static_cast<Eigen::Index>(posterior.rows.size());
  ContinuousProblem problem{Eigen::VectorXcd(rows), Eigen::MatrixXcd(rows, now.size()), {}};
  for (Eigen::Index i = 0; i < rows; ++i) {
    problem.residual(i) = posterior.unknowns.at(posterior.entry(static_cast<std::size_t>(i), 0));
    for (Eigen::Index p = 0; p < now.size(); ++p) {
      problem.response(i, p) = posterior.unknowns.at(
          posterior.entry(static_cast<std::size_t>(i), static_cast<std::size_t>(p) + 1));
      problem.residual(i) += problem.response(i, p) * now(p);
    }
  }
  problem.residual /= target;
  problem.response /= target;
  return (least_squares ? minimise_least_squares(problem) : minimise_worst_ratio(problem)).moments;
}

inline Phasor at_any_hole(FleetDraws& draws) {
  return std::polar(1.0, 2.0 * std::numbers::pi * std::floor(36.0 * draws.uniform()) / 36.0);
}

}  // namespace trimwright::testing

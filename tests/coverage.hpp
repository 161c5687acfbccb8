#pragma once

#include <Eigen/Core>
#include <cmath>

#include "trimwright/influence.hpp"
#include "virtual_fleet.hpp"

namespace trimwright::testing {

/// A campaign of virtual jobs and what its intervals are tried against.
struct CoverageCase {
  int baselines = 2;          ///< runs without weights
  int trials = 1;             ///< runs with a weight in each plane, at different angles
  bool noise_stated = true;   ///< else both parts are estimated
  double stated_share = 1.0;  ///< what is stated, over what is true
  FleetNoise noise;
  double bend = 0.0;  ///< non-linearity: x grows by `bend` of itself at 1 in/s
};

/// Share of 90 % intervals that hold the truth: of the predicted x(U), real and imaginary part of every row,
/// at moments worth 1 in/s in directions that no run had.
inline double coverage_of(const CoverageCase& one, int jobs, std::uint64_t seed) {
  VirtualFleet fleet;
  FleetDraws draws(seed);
  FleetNoise noise = one.noise;
  noise.unexplained = 0.0;
  Eigen::Index inside = 0, tried = 0;
  for (int j = 0; j < jobs; ++j) {
    const FleetRotor rotor = fleet.draw({0.2, 0.1}, noise, draws);
    std::vector<Run> runs;
    const auto add = [&](const Eigen::Vector2cd& u) {
      Run run = fleet.run(rotor, "run " + std::to_string(runs.size() + 1), u, noise, draws);
      for (auto& reading : run.readings) *reading.x *= 1.0 + one.bend * std::abs(*reading.x);
      runs.push_back(run);
    };
    for (int b = 0; b < one.baselines; ++b) add(Eigen::Vector2cd::Zero());
    for (int t = 0; t < one.trials; ++t)
      for (int p = 0; p < 2; ++p) {
        Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
        u(p) = std::polar(fleet.moment_worth(0.5, p), 1.0 + 2.1 * t + p);
        add(u);
      }
    Job job = fleet.job(runs);
    for (auto& sensor : job.rotor.sensors) {
      sensor.repeatability = *sensor.repeatability * one.stated_share;
      sensor.run_to_run = *sensor.run_to_run * one.stated_share;
      if (!one.noise_stated) sensor.repeatability.reset(), sensor.run_to_run.reset();
    }
    const auto posterior = influence_posterior(job);
    if (!posterior) continue;
    Eigen::VectorXcd u(2);
    u << std::polar(fleet.moment_worth(1.0, 0), 0.4), std::polar(fleet.moment_worth(1.0, 1), -1.3);
    const auto x = predicted_phasors(*posterior, u);
    const double factor = interval_factor(0.9, x.degrees_of_freedom);
    for (Eigen::Index i = 0; i < fleet.rows(); ++i) {
      const Phasor truth = rotor.x0(i) + rotor.c(i, 0) * u(0) + rotor.c(i, 1) * u(1);
      const Phasor off = truth - x.at(static_cast<std::size_t>(i));
      const auto variance = x.covariance.diagonal().segment<2>(2 * i);
      inside += std::abs(off.real()) <= factor * std::sqrt(variance(0));
      inside += std::abs(off.imag()) <= factor * std::sqrt(variance(1));
      tried += 2;
    }
  }
  return static_cast<double>(inside) / static_cast<double>(tried);
}

}  // namespace trimwright::testing

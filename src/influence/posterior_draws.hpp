#pragma once

#include <Eigen/Core>
#include <cmath>
#include <cstdint>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// All draws begin from here, so that the same job has the same chances.
inline constexpr std::uint64_t draws_seed = 20311;

/// Draws of all that is uncertain, from the posterior of a rotor whose vibration weights can cancel but for a
/// small rest: X0 = -C V + d. The chance of anything is the share of the draws in which it happens.
struct PosteriorDraws {
  Eigen::MatrixXd unknowns;           ///< as `InfluencePosterior::unknowns`, one column per draw
  std::vector<NoiseModel> noise;      ///< noise as believed, some of which a draw has
  std::vector<std::size_t> noise_of;  ///< entry of `noise`, per draw
  Eigen::VectorXd left;               ///< size of d per real component over the limits of its rows, per draw
  double split_r_hat =
      1.0;  ///< largest of the quantities sampled; above `agreeing_r_hat` the chains do not agree
  double effective_draws = 0.0;  ///< least of them: independent draws that would tell as much
};

/// What chance adds to the next run, the same for every choice, one column per draw taken.
struct DrawnChance {
  Eigen::MatrixXcd shared;   ///< by row: what the sensor's readings of the run share, peak
  Eigen::MatrixXcd own;      ///< by row: standard normal, of each reading alone
  Eigen::MatrixXcd fitting;  ///< by plane: standard normal, of the errors of fitting
};
/// Of every `every`th draw.
[[nodiscard]] DrawnChance drawn_chance(const InfluencePosterior& posterior, int every = 1);

/// How a reading scatters on its own by the noise of a draw: one standard deviation per real component at
/// |x| = `size`, widened as the draw's noise is.
[[nodiscard]] inline double own_sd(const NoiseModel& noise, std::size_t sensor, double size) {
  const SensorNoise& parts = noise.sensors[sensor];
  const double share = parts.proportional * size;
  return noise.widened * (share > 0.0 ? std::hypot(parts.within.sd, share) : parts.within.sd);
}

/// Readings of the next run with `unbalance` (one per plane of the posterior, which has draws), rows x draws:
/// what is not known of baselines and coefficients, noise of every part, and errors of fitting (`fitting`:
/// one covariance per plane, or none). Every `every`th draw is taken; the same random numbers for every
/// choice, so that choices compare.
[[nodiscard]] Eigen::MatrixXcd drawn_readings(const InfluencePosterior& posterior,
                                              const Eigen::VectorXcd& unbalance,
                                              const std::vector<Eigen::Matrix2d>& fitting, int every = 1);

/// Convergence of some chains (columns) of one quantity, after A. Vehtari, A. Gelman, D. Simpson, B.
/// Carpenter and P.-C. Buerkner, *Bayesian Analysis* 16 (2021): rank-normalised, chains split in half.
struct Convergence {
  double split_r_hat = 1.0;
  double effective_draws = 0.0;
};
[[nodiscard]] Convergence convergence_of(const Eigen::MatrixXd& chains);

}  // namespace trimwright

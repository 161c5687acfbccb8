#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "posterior_draws.hpp"

namespace trimwright {

/// Baselines and coefficients as runs and prior have them where noise and the fleet's scatter are known, with
/// a flat prior on X0; and the logarithm of the weight that these have among others.
struct KnownNoise {
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
  NoiseModel noise;
  double log_weight = 0.0;
};

/// What the vibration that no weight explains is believed to be before any run: d over the limits of the
/// rows, one standard deviation per real component. Without a fleet half-Cauchy with the scale
/// `unknown_left`.
inline constexpr double unknown_left = 0.03;
/// More rows than these take too long to sample.
inline constexpr std::size_t most_rows_sampled = 80;
/// How many kinds of noise and scatter the memory for sampling holds, `most` at most: with many planes fewer;
/// 0: not one. `tied`: most rows that are tied together by what is known.
[[nodiscard]] int draws_that_fit(std::size_t rows, std::size_t tied, std::size_t planes, int most);
[[nodiscard]] double log_left_density(double left, const std::optional<LeftByFleet>& fleet);

/// Draws from the posterior of X0 = -C V + d: V, the unbalance that weights could cancel, with a prior so
/// wide that it does not matter; d of the size `left` times `limits`. Known V, noise and size of d leave a
/// linear Gaussian model, in which X0 and C are integrated over exactly: what would be read with V is d,
///     N(0; E[x(V)], Cov[x(V)] + left^2 limits^2),
/// is the density that four chains sample V, the size of d and the noise from (W. K. Hastings, *Biometrika*
/// 57 (1970)); X0 and C are then drawn given these. `limits`: one per row; more rows than planes.
[[nodiscard]] PosteriorDraws cancelling_draws(const std::vector<KnownNoise>& known,
                                              const Eigen::VectorXd& limits,
                                              const std::optional<LeftByFleet>& fleet, std::uint64_t seed);

/// `influence_posterior` with `Residual::small`, the size of d believed to be as `left` says.
[[nodiscard]] Result<InfluencePosterior> posterior_with_left(const Job& job,
                                                             const std::vector<std::size_t>& planes,
                                                             const Prior* prior,
                                                             const std::optional<LeftByFleet>& left);

/// Logarithm of the likelihood of each size of d in `left`, V integrated over by P. S. Laplace's method.
[[nodiscard]] Eigen::VectorXd left_log_likelihood(const KnownNoise& known, const Eigen::VectorXd& limits,
                                                  const Eigen::VectorXd& left);

}  // namespace trimwright

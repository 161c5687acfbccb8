#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "trimwright/influence/noise.hpp"
#include "trimwright/influence/prior.hpp"
#include "trimwright/runs/job.hpp"

namespace trimwright {

/// Complex values with a real covariance: stacked as (re, im) of each, so that scatter in amplitude may
/// differ from scatter in phase. Student's t with `degrees_of_freedom`, normal when that is infinite.
struct PhasorDistribution {
  Eigen::VectorXd mean;        ///< 2n
  Eigen::MatrixXd covariance;  ///< 2n x 2n; the scale matrix of the t distribution
  double degrees_of_freedom = std::numeric_limits<double>::infinity();

  [[nodiscard]] Phasor at(std::size_t i) const {
    return {mean(2 * static_cast<Eigen::Index>(i)), mean(2 * static_cast<Eigen::Index>(i) + 1)};
  }
};

struct PosteriorDraws;

/// Baseline and coefficients of all rows together, from the runs and, where one is named, a fleet's prior.
///
/// Without a prior generalised least squares with the noise of every part. With one, Bayesian linear
/// regression with a flat prior on every X0 (A. Gelman et al., *Bayesian Data Analysis*, 3rd ed. 2013,
/// chapter 14), by an orthogonal factorisation of the whitened readings stacked on the whitened prior.
struct InfluencePosterior {
  std::vector<std::pair<std::size_t, std::size_t>> rows;  ///< speed, sensor
  std::vector<std::size_t> planes;
  /// Of (X0, C_1 .. C_P) of each row in turn; see `entry`.
  PhasorDistribution unknowns;
  NoiseModel noise;
  double misfit = 0.0;  ///< whitened residuals squared, those of the prior included
  int misfit_dof = 0;   ///< real degrees of freedom of `misfit`; 0: nothing to judge by
  /// With `Residual::small`, where there are more rows than planes: what probabilities are reckoned from.
  /// `unknowns` has their mean and covariance.
  std::shared_ptr<const PosteriorDraws> draws;

  /// Position of entry `q` (0: X0, 1 + p: coefficient of `planes[p]`) of row `i` among the unknowns.
  [[nodiscard]] std::size_t entry(std::size_t i, std::size_t q) const { return i * (1 + planes.size()) + q; }
};

/// How well the chains that drew a posterior agree (A. Vehtari et al., *Bayesian Analysis* 16 (2021)).
struct Sampling {
  int draws = 0;
  double split_r_hat = 1.0;      ///< above 1.05: they do not agree, and chances are not to be relied on
  double effective_draws = 0.0;  ///< independent draws that would tell as much
};
/// Empty where nothing was drawn.
[[nodiscard]] std::optional<Sampling> sampling_of(const InfluencePosterior& posterior);

/// x(U) of every row, the noise of a reading not included. `unbalance`: one per plane of the posterior.
[[nodiscard]] PhasorDistribution predicted_phasors(const InfluencePosterior& posterior,
                                                   const Eigen::VectorXcd& unbalance);

/// Half the expected (b - mean)(b - mean)^H of b = (X0, C_1 .. C_P) of row `i`: what a mean over the two real
/// components keeps of its covariance.
[[nodiscard]] Eigen::MatrixXcd circular_covariance(const InfluencePosterior& posterior, std::size_t i);

/// What the next run's readings scatter beyond `predicted_phasors`: 2n x 2n, from readings near `expected`
/// (stacked as above).
[[nodiscard]] Eigen::MatrixXd next_run_noise(const InfluencePosterior& posterior,
                                             const Eigen::VectorXd& expected);

/// What is believed of the vibration that weights cannot cancel.
enum class Residual {
  any,   ///< nothing: least squares
  small  ///< small beside what they can, as a trim supposes
};

/// The posterior of rows that have a usable reading in some run.
///
/// With a prior: rows and planes the prior knows (planes: those of `planes`, or all it knows). Without: rows
/// and planes that the runs settle. Noise parts that are not stated are estimated by restricted maximum
/// likelihood from the redundancy of the runs alone, where there is any.
/// Errors: nothing to solve for; a prior, and readings whose repeatability nothing tells.
///
/// `Residual::small`: that weights in the planes could cancel most of the vibration is part of the knowledge:
/// X0 = -C V + d for some unbalance V. Sampled, with the size of d (in proportion to the limits of the rows),
/// variances that are not stated, and a fleet's scatter. As `Residual::any` where no more rows than planes
/// support it.
[[nodiscard]] Result<InfluencePosterior> influence_posterior(const Job& job,
                                                             const std::vector<std::size_t>& planes = {},
                                                             const Prior* prior = nullptr,
                                                             Residual residual = Residual::any);

/// Half the width of the interval of probability `probability` of a quantity of standard error 1.
[[nodiscard]] double interval_factor(double probability, double degrees_of_freedom);

}  // namespace trimwright

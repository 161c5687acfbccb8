#pragma once

#include <Eigen/Core>

#include <cstdint>
#include <vector>

#include "influence/posterior_draws.hpp"
#include "trimwright/forecast.hpp"

namespace trimwright {

// What stands behind `forecast`: the next run's readings as a distribution and by sampling.

/// Levels of the rows of a posterior, peak.
struct RowLevels {
  Eigen::VectorXd limit;
  Eigen::VectorXd target;  ///< the limit where no target is set
};
[[nodiscard]] RowLevels row_levels(const Job& job, const InfluencePosterior& posterior);

/// Covariance per plane (2 x 2, re and im, [g mm]^2) of what is fitted, from the tolerances of weights and
/// slots: errors of each piece uniform within its tolerance and independent.
[[nodiscard]] Eigen::Matrix2d fitting_covariance(const Plane& plane, const FittedWeights& fitted);

/// The next run's readings with `unbalance` in the posterior's planes: model, noise of the readings and of
/// the run, and the fitting errors `fitting` (empty: none; else one per plane).
[[nodiscard]] PhasorDistribution next_readings(const InfluencePosterior& posterior,
                                               const Eigen::VectorXcd& unbalance,
                                               const std::vector<Eigen::Matrix2d>& fitting = {});

/// The next run's readings with `fitted` (one entry per plane of the rotor) and all known changes, errors of
/// fitting included.
[[nodiscard]] PhasorDistribution next_readings_with(const Job& job, const InfluencePosterior& posterior,
                                                    const std::vector<FittedWeights>& fitted);

/// Corners of the ellipse about the mean of reading `i` that holds it nine times in ten: chi-squared of two
/// components, Fisher's F where the scatter is estimated (T. W. Anderson, *An Introduction to Multivariate
/// Statistical Analysis*, from memory, on the ellipsoids of normal and t). Peak, as the readings.
[[nodiscard]] std::vector<Phasor> nine_in_ten_ellipse(const PhasorDistribution& readings, std::size_t i,
                                                      int corners = 32);

/// Fixed standard normal draws, `samples` columns of `components` and, for t, one chi-squared each: the same
/// draws for every choice, so that choices compare.
struct OutlookDraws {
  OutlookDraws(Eigen::Index components, int samples, double degrees_of_freedom, std::uint64_t seed);
  Eigen::MatrixXd normal;
  Eigen::VectorXd stretch;  ///< sqrt(nu / chi-squared_nu); 1 when normal
};

inline constexpr int outlook_samples = 4000;
/// Samples of so many components: fewer than `most` where each costs more.
[[nodiscard]] int samples_of(Eigen::Index components, int most);

/// Amplitudes of sampled readings, rows x samples.
[[nodiscard]] Eigen::MatrixXd sampled_amplitudes(const PhasorDistribution& readings,
                                                 const OutlookDraws& draws);

/// By sampling: the rows are correlated and not circular, so no closed form holds (for a single circular row
/// it would be Rice's distribution).
[[nodiscard]] Outlook outlook_of(const PhasorDistribution& readings, const RowLevels& levels,
                                 const OutlookDraws& draws);

/// The next run with `unbalance` in the posterior's planes and fitting errors as for `next_readings`: from
/// the posterior's own draws where it has any, else from its distribution.
[[nodiscard]] Outlook outlook_of(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                                 const std::vector<Eigen::Matrix2d>& fitting, const RowLevels& levels,
                                 int samples = outlook_samples);

/// The outlook of `next_readings_with`.
[[nodiscard]] Outlook next_run_outlook(const Job& job, const InfluencePosterior& posterior,
                                       const std::vector<FittedWeights>& fitted,
                                       int samples = outlook_samples);

/// What the next reading at a row of the model scatters beside the model's own uncertainty: one standard
/// deviation per real component, peak; the last a share of the amplitude.
struct NextNoise {
  double within = 0.0;
  double run_to_run = 0.0;
  double proportional = 0.0;
};
[[nodiscard]] NextNoise next_noise(const InfluenceModel& model, const InfluenceRow& row);

/// U of `planes` (of the rotor) with `fitted` and all known changes [g mm].
[[nodiscard]] Eigen::VectorXcd unbalance_with(const Job& job, const std::vector<std::size_t>& planes,
                                              const std::vector<FittedWeights>& fitted);

}  // namespace trimwright

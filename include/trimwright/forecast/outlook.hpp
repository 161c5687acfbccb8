#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <string>
#include <vector>

#include "trimwright/influence/influence_posterior.hpp"

namespace trimwright {

/// What the next run's reading at one place is likely to be. Amplitudes are peak.
struct ReadingOutlook {
  double low = 0.0;  ///< nine readings in ten lie between `low` and `high`
  double high = 0.0;
  double below_limit = 1.0;   ///< probability
  double below_target = 1.0;  ///< probability; the limit where no target is set
};

/// Probability that the next run meets limits and targets at the places that are predicted.
struct Outlook {
  std::vector<ReadingOutlook> readings;  ///< in the order of the posterior's rows
  double meets_limits = 0.0;             ///< every one of `readings`, jointly
  double meets_targets = 0.0;
};

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

/// Fixed standard normal draws, `samples` columns of `components` and, for t, one chi-squared each: the same
/// draws for every choice, so that choices compare.
struct OutlookDraws {
  OutlookDraws(Eigen::Index components, int samples, double degrees_of_freedom, std::uint64_t seed);
  Eigen::MatrixXd normal;
  Eigen::VectorXd stretch;  ///< sqrt(nu / chi-squared_nu); 1 when normal
};

inline constexpr int outlook_samples = 4000;
inline constexpr std::uint64_t outlook_seed = 20311;

/// Amplitudes of sampled readings, rows x samples.
[[nodiscard]] Eigen::MatrixXd sampled_amplitudes(const PhasorDistribution& readings,
                                                 const OutlookDraws& draws);

/// By sampling: the rows are correlated and not circular, so no closed form holds (for a single circular row
/// it would be Rice's distribution).
[[nodiscard]] Outlook outlook_of(const PhasorDistribution& readings, const RowLevels& levels,
                                 const OutlookDraws& draws);

/// The outlook of `next_readings_with`.
[[nodiscard]] Outlook next_run_outlook(const Job& job, const InfluencePosterior& posterior,
                                       const std::vector<FittedWeights>& fitted,
                                       int samples = outlook_samples);

/// "87 %"; never a certainty that samples cannot show.
[[nodiscard]] std::string percent_words(double probability);

/// U of `planes` (of the rotor) with `fitted` and all known changes [g mm].
[[nodiscard]] Eigen::VectorXcd unbalance_with(const Job& job, const std::vector<std::size_t>& planes,
                                              const std::vector<FittedWeights>& fitted);

}  // namespace trimwright

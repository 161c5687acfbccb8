#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>

namespace trimwright {

/// Sizes of pulses folded over one revolution. Rows: revolutions; columns: places 0 to teeth-1, counted from
/// an arbitrary tooth. Each size is relative to the level of the revolution around it; NaN where a pulse is
/// missing.
using FoldedSizes = Eigen::ArrayXXd;

/// `sizes` of `revolutions * teeth` consecutive pulses (NaN: missing), each divided by the mean over the one
/// revolution centred on it (shifted inward at the ends), so that speed and gap cancel, and folded.
[[nodiscard]] FoldedSizes folded(std::span<const double> sizes, int teeth);

/// Mean size per place over many revolutions, and the scatter of single pulses, to judge from.
///
/// Per place the mean leaves out the largest and smallest of five or more values, so that single altered
/// pulses (debris, a spike) weigh nothing; the scatter is 1.4826 times the median distance from the place's
/// mean (normal-consistent; P. J. Huber, Robust Statistics, 1981, section 5.1).
struct PlaceSizes {
  Eigen::ArrayXd mean;       ///< teeth
  double scatter = 0.0;      ///< standard deviation of a single pulse
  double revolutions = 0.0;  ///< revolutions behind the mean

  /// The place whose pulses are clearly larger than all others': by six standard deviations of the lead, and
  /// by a twentieth. Only to see after how many teeth a larger pulse returns; which tooth is the reference is
  /// judged in `ring_judgement`.
  [[nodiscard]] std::optional<Eigen::Index> clear_place() const;
};

[[nodiscard]] Eigen::ArrayXd mean_sizes(const FoldedSizes& sizes);  ///< `PlaceSizes::mean` alone
[[nodiscard]] PlaceSizes place_sizes(const FoldedSizes& sizes);

/// After how many pulses a larger one returns, from `sizes` of consecutive pulses (NaN: missing): the period
/// from 2 to `longest` that explains the sizes best for its number of places (Bayesian information criterion;
/// G. Schwarz, Annals of Statistics 6, 1978) and in which one place is clear. Empty when there is none.
[[nodiscard]] std::optional<int> period_shown(std::span<const double> sizes, int longest, int declared = 0);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>
#include <vector>

#include "tooth_track.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {

inline constexpr int most_harmonics = 8;  ///< that can be fitted

/// What one channel's samples over one block say of its once-per-revolution part.
struct FittedPhasor {
  Phasor value;     ///< peak, lead, in the unit of the samples; higher harmonics are `harmonics`
  double sd = 0.0;  ///< standard deviation per real component if what is left over were white noise; of
                    ///< tapered pairs: times the root of n, of the sum of n that overlap by half
  double left_over = 0.0;  ///< rms of what the fit leaves over
  double offset = 0.0;     ///< mean of the constant and drift part over the block
  Phasor turning;          ///< of a tapered pair: its second half less its first, beside `value`
};

/// Normal equations of one block, as `fit_synchronous` has them.
struct SynchronousSums {
  Eigen::MatrixXd gram, right;
  Eigen::ArrayXd squares;
  double weight = 0.0;  ///< sum of the samples' weights
};

/// The same with weight 1 and with weights that rise over the block as (1 - cos(pi u)) / 2.
struct BlockSums {
  SynchronousSums all, rising;
};

/// Least squares in shaft angle.
///
/// x(t) = Re sum_h X_h e^{j h theta(t)} + constant + drift * t, h = 1 .. harmonics, over the samples whose
/// time lies on the track. Fitting the harmonics, the constant and the drift beside X_1 keeps them from
/// leaking into it; its variance is then the Cramer-Rao bound for white noise (linear model: S. M. Kay,
/// Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, theorem 4.1 and section 7.6).
///
/// `channels`: one span per channel, all of equal length; sample 0 is at time `first_s`. Result: one per
/// channel, empty when there are too few samples on the track to fit.
[[nodiscard]] std::vector<FittedPhasor> fit_synchronous(const ToothTrack& track,
                                                        std::span<const std::span<const float>> channels,
                                                        double first_s, double sample_rate_hz, int harmonics);

/// What `fit_synchronous` solves; nothing when there are too few samples.
[[nodiscard]] std::optional<BlockSums> synchronous_sums(const ToothTrack& track,
                                                        std::span<const std::span<const float>> channels,
                                                        double first_s, double sample_rate_hz, int harmonics);
[[nodiscard]] std::vector<FittedPhasor> fitted(const SynchronousSums& sums);

/// Weighted least squares over two blocks, one straight after the other: the weights rise over the first and
/// fall over the second (a Hann window; F. J. Harris, Proc. IEEE 66, 1978). A vibration at a distance of x /
/// T from shaft speed, T the pair's length, shows in `value` by sin(pi x) / (pi x (1 - x^2)), a thousandth at
/// x = 7; a block alone would show it by sin(pi x / 2) / (pi x / 2). Pairs that overlap by half weigh every
/// sample alike but those at both ends; white noise in neighbours of them has a correlation of 1/6.
[[nodiscard]] std::vector<FittedPhasor> fitted_pair(const BlockSums& before, const BlockSums& now);

}  // namespace trimwright

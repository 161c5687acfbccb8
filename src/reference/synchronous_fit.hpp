#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "tooth_track.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright {

/// What one channel's samples over one block say of its once-per-revolution part.
struct FittedPhasor {
  Phasor value;            ///< peak, lead, in the unit of the samples; higher harmonics are `harmonics`
  double sd = 0.0;         ///< standard deviation per real component if what is left over were white noise
  double left_over = 0.0;  ///< rms of what the fit leaves over
  double offset = 0.0;     ///< mean of the constant and drift part over the block
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

}  // namespace trimwright

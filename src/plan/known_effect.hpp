#pragma once

#include <complex>
#include <vector>

#include "trimwright/plan.hpp"

namespace trimwright {

/// What is known, at one place, of a plane's weights. Amplitudes peak, in the sensor's unit symbol.
struct KnownEffect {
  Phasor now;         ///< with what is fitted now
  Phasor per_moment;  ///< change by a moment in the plane [per g mm]
  double limit = 0.0;
};

/// By the model, of the places that it predicts; none where it does not know the plane.
[[nodiscard]] std::vector<KnownEffect> effects_by_model(const Job& job, const InfluenceModel& model,
                                                        std::size_t plane);

/// By an earlier job or a prior, of the places that this job has read; `now` is the latest reading there.
[[nodiscard]] std::vector<KnownEffect> effects_by_earlier(const Job& job, const EarlierEffects& earlier,
                                                          std::size_t plane);

/// The largest change by `moment` [g mm] over what is left there below the limit; infinite where nothing is
/// left.
[[nodiscard]] double headroom_share(const std::vector<KnownEffect>& effects, std::complex<double> moment);

/// The moment in this plane alone that brings the amplitudes over their limits down most (least squares).
[[nodiscard]] std::complex<double> moment_wanted(const std::vector<KnownEffect>& effects);

}  // namespace trimwright

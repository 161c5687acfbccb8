#pragma once

#include "runs_fit.hpp"

namespace trimwright {

/// Odds at which the runs are taken to settle lag against lead.
inline constexpr double deciding_odds = 1000.0;

/// Compares the fit of the readings as given with that of their mirror (every phasor conjugate), both with as
/// many unknowns.
///
/// Of a sensor with stated repeatability the restricted log likelihoods, noise of every part included, are
/// compared (their difference scaled down when even the better fit scatters more than stated); without, the
/// profile likelihood, nu ln(S_m / S_g) with nu spare complex readings and S the residuals squared over the
/// baselines. `cannot_tell` below odds of 1000 to 1. `neither_fits` where the odds would decide but
/// chi-squared rejects even the better fit at one in a million. Each sensor is also judged alone: one
/// connected or read the other way shows although the others outvote it.
[[nodiscard]] MirrorTest compare_conventions(const RunsFit& given, const RunsFit& mirrored);

}  // namespace trimwright

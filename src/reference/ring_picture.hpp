#pragma once

#include <Eigen/Core>
#include "trimwright/reference.hpp"

namespace trimwright {

/// Waves per turn that are taken for run-out on a ring of so many teeth: at most three.
[[nodiscard]] int run_out_waves(int teeth);

/// `logs` less what varies smoothly around the ring (run-out: `run_out_waves`, fitted so that
/// single odd places weigh little; P. Bloomfield and W. L. Steiger, Least Absolute Deviations, 1983). NaN
/// stay.
[[nodiscard]] Eigen::ArrayXd without_run_out(const Eigen::ArrayXd& logs);

struct MatchRules {
  double size_floor = 0.004, width_floor = 0.006, spacing_floor = 0.001;  ///< sd beside the scatter
  double most_per_tooth = 25.0;                                           ///< so that no single tooth decides
  bool other_gap = false;  ///< run-out may have another share: it is taken off first
};

[[nodiscard]] RingMatch matched(const RingPicture& known, const RingPicture& seen, const MatchRules& rules);

/// Whether the teeth of `seen` fit clearly better a few places beside `shift` (a pulse lost or doubled
/// unnoticed).
[[nodiscard]] bool passes_elsewhere(const RingPicture& known, const RingPicture& seen, int shift);

/// Of two recordings: another gap, pickup, temperature; two damaged teeth (four places) must not decide.
inline constexpr MatchRules across_recordings{0.012, 0.012, 0.0015, 9.0, true};

inline constexpr double clear_lead = 30.0;  ///< chi-square: more than five standard deviations

}  // namespace trimwright

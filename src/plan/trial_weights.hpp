#pragma once

#include <vector>

#include "trimwright/plan.hpp"

namespace trimwright {

/// Standard gravity [m/s^2].
inline constexpr double gravity = 9.80665;

/// Centrifugal force of a moment [N].
[[nodiscard]] double force_newton(double moment_g_mm, double rpm);

/// A single change with its force beside the rotor's weight.
[[nodiscard]] TrialCandidate candidate_of(const Job& job, const SlotChange& change);

/// Every catalogue weight in stock in every usable slot that holds none and may take it, of one plane;
/// `choice` narrows it down, and a slot that it names may hold a weight. Errors as `advise_trial`.
[[nodiscard]] Result<std::vector<SlotChange>> trial_changes(const Job& job, std::size_t plane,
                                                            const TrialChoice& choice, FittingLimits limits);

/// Of `changes` of one plane, by the rule for planes of unknown effect: the heaviest weight below
/// `trial_force_share`, the slot nearest `towards` (empty: the first from the reference tooth).
[[nodiscard]] Result<SlotChange> by_rule(const Job& job, const std::vector<SlotChange>& changes,
                                         const TrialChoice& choice, const std::optional<RotorAngle>& towards);

}  // namespace trimwright

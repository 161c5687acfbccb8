#pragma once

#include <vector>

#include "known_effect.hpp"

namespace trimwright {

/// A single change with its force beside the rotor's weight.
[[nodiscard]] TrialCandidate candidate_of(const Job& job, const SlotChange& change);

/// Every catalogue weight in stock in every usable slot that holds none and may take it, of one plane;
/// `choice` narrows it down, and a slot that it names may hold a weight. Errors as `advise_trial`.
[[nodiscard]] Result<std::vector<SlotChange>> trial_changes(const Job& job, std::size_t plane,
                                                            const TrialChoice& choice, FittingLimits limits);

/// Speed points at which a level is above its limit with what is fitted now, or else in the last run.
[[nodiscard]] std::vector<std::size_t> speeds_above_limit(const Job& job);

/// The moment that a change adds to its plane [g mm].
[[nodiscard]] std::complex<double> moment_added(const Job& job, const SlotChange& change);

/// Of `changes` of one plane, by the rule for planes of unknown effect: the heaviest weight below
/// `trial_force_share`, the slot that comes first from the reference tooth.
[[nodiscard]] Result<SlotChange> by_force(const Job& job, const std::vector<SlotChange>& changes,
                                          const TrialChoice& choice);

/// Of `changes` of one plane, where its effect is known: in the slot nearest the `wanted` moment's angle the
/// heaviest that is no heavier and keeps within `trial_headroom_share`, else the one nearest to that.
[[nodiscard]] SlotChange by_headroom(const Job& job, const std::vector<SlotChange>& changes,
                                     const std::vector<KnownEffect>& effects, std::complex<double> wanted);

}  // namespace trimwright

#pragma once

#include <complex>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/rotor/rotor.hpp"

namespace trimwright {

/// What a slot holds beside its filler: a catalogue weight, or another piece of known moment.
struct Piece {
  std::string weight_id;     ///< empty: not from the catalogue
  double moment_g_mm = 0.0;  ///< taken from the catalogue when `weight_id` is set

  friend bool operator==(const Piece&, const Piece&) = default;
};

/// A moment that sits at an angle and in no slot (clamped, taped, or in a plane without slots).
struct FreePiece {
  double moment_g_mm = 0.0;
  RotorAngle at;
};

/// Everything fitted in one plane. Slots not named hold their filler.
struct FittedWeights {
  std::map<int, Piece> slots;
  std::vector<FreePiece> free;
};

/// Moment of a weight, filler or other piece in a slot, as the slot then acts [g mm, rotor angle].
[[nodiscard]] std::complex<double> slot_moment(const Plane& plane, int slot,
                                               const std::optional<Piece>& piece);

/// How many pieces of the single catalogue weight `id` are fitted in the plane, those in stacks included.
[[nodiscard]] int pieces_fitted(const Plane& plane, const FittedWeights& fitted, const std::string& id);

/// Total moment of everything the usable slots hold, fillers included, and of free pieces [g mm].
[[nodiscard]] std::complex<double> total_moment(const Plane& plane, const FittedWeights& fitted);

/// What a slot holds; nothing: its filler.
[[nodiscard]] std::optional<Piece> held(const FittedWeights& fitted, int slot);

/// The catalogue's weight, or nothing for a filler and for a piece of no catalogue.
[[nodiscard]] const Weight* catalogue_weight(const Plane& plane, const std::optional<Piece>& content);

// The judge of what a plane may hold. All that reads, plans, tries out or rehearses weights asks it.

/// Sums may exceed their limits by this share: more than rounding, less than a person can weigh.
inline constexpr double fitting_allowance = 1e-9;

/// The catalogue weight `id` as a slot of the plane holds it. Error: there is none.
[[nodiscard]] Result<Piece> catalogue_piece(const Plane& plane, const std::string& id);

/// Error: the plane has no slots, or none of this number, or it is declared unusable.
[[nodiscard]] Result<void> check_slot(const Plane& plane, int slot);

/// Whether a plane can hold this at all, whatever is allowed. Errors: something in a slot that is none or
/// unusable; more pieces of a weight than the stock.
[[nodiscard]] Result<void> check_possible(const Plane& plane, const FittedWeights& fitted);

/// Whether the masses that limits on mass need are known. Error: a piece of no catalogue has none.
[[nodiscard]] Result<void> check_masses(const Plane& plane, const FittedWeights& fitted);

/// How often the weight can be fitted beside what is fitted; empty: as often as wanted.
[[nodiscard]] std::optional<int> left_in_stock(const Plane& plane, const FittedWeights& fitted,
                                               const Weight& weight);

/// Whether the plane's rules let a slot hold this, whatever the others hold.
[[nodiscard]] bool allowed_in(const Plane& plane, int slot, const std::optional<Piece>& content);

/// Mass of what a slot holds [g]; 0 where it is not known.
[[nodiscard]] double mass_of(const Plane& plane, const std::optional<Piece>& content);

/// Pieces that a slot holds, those of a stack one by one; a filler is none.
[[nodiscard]] double piece_count(const Plane& plane, const std::optional<Piece>& content);

/// Whether a plane that holds `now` may be made to hold `then` by every rule of its own: usable slots, stock,
/// weights for some slots only, the most that a slot and the plane may hold, pairs of slots, moments.
/// Errors: the first rule broken, with what it allows.
[[nodiscard]] Result<void> check_fitting(const Plane& plane, const FittedWeights& now,
                                         const FittedWeights& then);

/// What a job asks of the weights beside the rules of the planes.
struct FittingLimits {
  bool fitted_stay = false;         ///< weights fitted now stay where they are
  std::optional<int> most_pieces;   ///< in the usable slots of `planes`, those that stay included
  std::vector<std::size_t> planes;  ///< indices into Rotor::planes
};

/// `check_fitting` of every plane whose weights change, then the job's limits. One entry per plane of the
/// rotor.
[[nodiscard]] Result<void> check_fitting(const Rotor& rotor, const FittingLimits& limits,
                                         const std::vector<FittedWeights>& now,
                                         const std::vector<FittedWeights>& then);

}  // namespace trimwright

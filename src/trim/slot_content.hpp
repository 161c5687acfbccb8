#pragma once

#include <optional>

#include "trimwright/runs/job.hpp"

namespace trimwright {

/// What a slot holds; nothing: its filler.
[[nodiscard]] std::optional<Piece> held(const FittedWeights& fitted, int slot);

/// The catalogue's weight, or nothing for a filler and for a piece of no catalogue.
[[nodiscard]] const Weight* catalogue_weight(const Plane& plane, const std::optional<Piece>& content);

/// [g]; 0 where it is not known.
[[nodiscard]] double mass_of(const Plane& plane, const std::optional<Piece>& content);

/// Pieces, those of a stack one by one; a filler is none.
[[nodiscard]] double count_of(const Plane& plane, const std::optional<Piece>& content);

/// Whether the plane's rules let a slot hold this, whatever the others hold.
[[nodiscard]] bool allowed_in(const Plane& plane, int slot, const std::optional<Piece>& content);

}  // namespace trimwright

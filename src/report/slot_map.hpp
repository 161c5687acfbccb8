#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// A plane drawn as a person standing at its declared end sees it: slots and blades by number, the way the
/// rotor turns, the reference tooth, and what each slot holds before and after the plan. `part` makes the ids
/// of the drawing its own ("map", "sheet").
[[nodiscard]] Markup slot_map(const PageView& view, std::size_t plane, const std::string& part);

/// Marks of the catalogue beside the drawing: mark, id, mass and radius or moment, part number, stock.
[[nodiscard]] Markup weight_table(const Plane& plane);

/// What the shapes of a slot map mean.
[[nodiscard]] Markup slot_map_legend();

}  // namespace trimwright

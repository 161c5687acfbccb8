#pragma once

#include <string>
#include <string_view>

#include "trimwright/base/angle.hpp"

namespace trimwright {

/// Clockwise or counterclockwise; means nothing without the end it is seen from.
enum class Sense { clockwise, counterclockwise };

/// Where a person stands: `front`, ahead of the fan looking aft; `aft`, behind it looking forward.
enum class ViewingEnd { front, aft };

[[nodiscard]] constexpr Sense opposite(Sense s) {
  return s == Sense::clockwise ? Sense::counterclockwise : Sense::clockwise;
}

/// A turning or numbering sense together with the end it is seen from.
struct SeenSense {
  Sense sense = Sense::clockwise;
  ViewingEnd seen_from = ViewingEnd::front;

  /// The same turning seen from `end`: clockwise from one end is counterclockwise from the other.
  [[nodiscard]] Sense seen(ViewingEnd end) const { return end == seen_from ? sense : opposite(sense); }
  /// Whether this sense goes with or against `rotation`, whatever ends the two were seen from.
  [[nodiscard]] Direction relative_to(const SeenSense& rotation) const {
    return sense == rotation.seen(seen_from) ? Direction::with_rotation : Direction::against_rotation;
  }
  /// "clockwise seen from front".
  [[nodiscard]] std::string text() const;
};

[[nodiscard]] std::string_view name(Sense sense);
[[nodiscard]] std::string_view name(ViewingEnd end);
/// "with rotation" or "against rotation".
[[nodiscard]] std::string_view name(Direction direction);

}  // namespace trimwright

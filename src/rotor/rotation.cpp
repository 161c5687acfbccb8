#include "trimwright/rotor.hpp"

namespace trimwright {

std::string_view name(Sense sense) { return sense == Sense::clockwise ? "clockwise" : "counterclockwise"; }

std::string_view name(ViewingEnd end) { return end == ViewingEnd::front ? "front" : "aft"; }

std::string_view name(Direction direction) {
  return direction == Direction::with_rotation ? "with rotation" : "against rotation";
}

std::string SeenSense::text() const {
  return std::string(name(sense)) + " seen from " + std::string(name(seen_from));
}

}  // namespace trimwright

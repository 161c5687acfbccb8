#pragma once

#include "trimwright/rotor.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// Reads the keys `stack` and `rules` of a plane whose slots, filler and single weights are read, and adds
/// the stacks to its catalogue.
void read_stacks_and_rules(YamlFields& fields, Plane& plane);

/// A list of slots of the ring, sorted, each once.
[[nodiscard]] std::vector<int> read_slot_list(const YamlValue& value, int slots);

}  // namespace trimwright

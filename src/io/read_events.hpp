#pragma once

#include <vector>

#include "trimwright/job.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// A change of the rotor whose moment is known: {plane: ..., blade: N, moment_before: M, moment_after: M}.
[[nodiscard]] KnownChange read_change(const YamlValue& value, const Rotor& rotor);

/// What happened before a run: a list of {reference: moved}, {delay: changed}, {sensor: front} and
/// {baseline: new}, each once.
[[nodiscard]] std::vector<Event> read_events(const YamlValue& value, const Rotor& rotor);

}  // namespace trimwright

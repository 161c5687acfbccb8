#pragma once

#include "recording_plan.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// The key `recording` of a job; described in docs/file-formats.md. Throws InputError.
[[nodiscard]] RecordingPlan read_recording_plan(const YamlValue& value, const Rotor& rotor);

}  // namespace trimwright

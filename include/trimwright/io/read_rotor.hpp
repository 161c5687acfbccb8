#pragma once

#include <string>

#include "trimwright/base/error.hpp"
#include "trimwright/rotor/rotor.hpp"

namespace trimwright {

/// Reads a rotor file (YAML, `trimwright: rotor 1`; described in docs/file-formats.md).
[[nodiscard]] Result<Rotor> read_rotor(const std::string& path);

/// The same from text; `file` names it in messages.
[[nodiscard]] Result<Rotor> parse_rotor(const std::string& file, const std::string& text);

}  // namespace trimwright

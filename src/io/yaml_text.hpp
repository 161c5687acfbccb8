#pragma once

#include <string>

namespace trimwright {

/// A text as a double-quoted YAML scalar.
[[nodiscard]] std::string yaml_quoted(const std::string& text);

/// A text as YAML takes it back: plain where nothing in it could be mistaken, else quoted.
[[nodiscard]] std::string yaml_text(const std::string& text);

}  // namespace trimwright

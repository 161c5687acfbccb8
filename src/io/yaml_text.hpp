#pragma once

#include <string>
#include <utility>
#include <vector>

namespace trimwright {

/// A text as a double-quoted YAML scalar.
[[nodiscard]] std::string yaml_quoted(const std::string& text);

/// A text as YAML takes it back: plain where nothing in it could be mistaken, else quoted.
[[nodiscard]] std::string yaml_text(const std::string& text);

/// The pieces in slots of a plane, by their ids.
struct FittedIds {
  std::string plane;
  std::vector<std::pair<int, std::string>> ids;  ///< slot and id
};

/// "{fan: {1: A5}}", as a job file has what is fitted; planes without a piece are left out.
[[nodiscard]] std::string fitted_yaml(const std::vector<FittedIds>& planes);

}  // namespace trimwright

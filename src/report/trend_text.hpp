#pragma once

#include <string>

#include "trend/trend.hpp"

namespace trimwright {

/// The readings between a rotor's trims, for a terminal or a printer: at most 80 columns.
[[nodiscard]] std::string trend_text(const Trend& trend);

/// The same as one HTML file like the balance page: how the vector of each place went, with what was
/// expected, trims and changes marked.
[[nodiscard]] std::string trend_page(const Trend& trend);

}  // namespace trimwright

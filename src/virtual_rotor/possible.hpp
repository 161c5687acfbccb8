#pragma once

#include <cmath>
#include <numbers>
#include <string>

#include "trimwright/error.hpp"

namespace trimwright::virtual_rotor {

inline constexpr double pi = std::numbers::pi;

inline tl::unexpected<Error> wrong(const std::string& key, double value, const std::string& expected) {
  return fail(std::to_string(value) + " is not possible", expected, Location{{}, 0, key});
}

inline bool not_negative(double value) { return std::isfinite(value) && value >= 0.0; }

}  // namespace trimwright::virtual_rotor

#pragma once

#include <cmath>

namespace trimwright {

/// A size above 0, rounded to so many significant digits; any other as it is.
[[nodiscard]] inline double to_significant(double size, int digits) {
  if (!(size > 0.0)) return size;
  const double step = std::pow(10.0, std::floor(std::log10(size)) - (digits - 1));
  return step * std::round(size / step);
}

}  // namespace trimwright

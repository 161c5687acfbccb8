#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

namespace trimwright {

/// Whether two moments are one but for rounding [g mm].
inline bool same_moment(const std::complex<double>& one, const std::complex<double>& other) {
  return std::abs(one - other) <= 1e-9 * std::max(1.0, std::abs(one));
}

/// The same of all planes: runs of the same weights.
inline bool same_moments(const std::vector<std::complex<double>>& one,
                         const std::vector<std::complex<double>>& other) {
  return std::equal(one.begin(), one.end(), other.begin(), other.end(), same_moment);
}

}  // namespace trimwright

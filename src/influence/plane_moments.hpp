#pragma once

#include <Eigen/Core>

#include <complex>
#include <vector>

namespace trimwright {

/// U of some planes, from that of every plane of the rotor.
[[nodiscard]] inline Eigen::VectorXcd of_planes(const std::vector<std::complex<double>>& all,
                                                const std::vector<std::size_t>& planes) {
  Eigen::VectorXcd some(static_cast<Eigen::Index>(planes.size()));
  for (std::size_t p = 0; p < planes.size(); ++p) some(static_cast<Eigen::Index>(p)) = all[planes[p]];
  return some;
}

}  // namespace trimwright

#pragma once

#include <vector>

#include "slot_bound.hpp"

namespace trimwright::slots_detail {

/// The worst row when every free plane may hold any moment in its disc, and the multipliers that prove it.
struct ContinuousOptimum {
  std::vector<Complex> moments;  ///< one per free plane, strictly inside its disc
  double worst2 = 0.0;           ///< max |x_i|^2 there
  ArrayXd weights;               ///< of the rows, sum 1
  std::vector<double> mu;        ///< of the discs
};

/// Minimises max_i |x_i|^2 over the discs by a logarithmic barrier and Newton steps (S. Boyd, L. Vandenberghe,
/// Convex Optimization, 2004, ch. 11), until barrier duality promises the minimum within `relative` of
/// itself or within `absolute2`. `start`: moments to start from (may be empty).
[[nodiscard]] ContinuousOptimum continuous_optimum(const NodeRows& node, double relative, double absolute2,
                                                   const std::vector<Complex>& start);

}  // namespace trimwright::slots_detail

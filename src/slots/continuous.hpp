#pragma once

#include <vector>

#include "bound.hpp"

namespace trimwright::slots_detail {

/// The best when every free plane may hold any moment within its reach (its disc and the polygon of its
/// support function), and the multipliers that prove it.
struct ContinuousOptimum {
  std::vector<Complex> moments;  ///< one per free plane, strictly within reach
  double objective2 = 0.0;       ///< max or sum of |x_i|^2 there
  ArrayXd weights;               ///< of the rows: with sum 1, or all 1 for least squares
  Holds holds;                   ///< one per free plane
};

/// What the moments of all free planes must keep together: sum_p Re(conj(direction_p) u_p) <= height.
struct JointCut {
  std::vector<Complex> direction;  ///< one per free plane
  double height = 0.0;
};

/// Minimises max_i |x_i|^2, or sum_i |x_i|^2, within reach by a logarithmic barrier and Newton steps (S.
/// Boyd, L. Vandenberghe, Convex Optimization, 2004, ch. 11), until barrier duality promises the minimum
/// within `relative` of itself or within `absolute2`. `start`: moments to start from (may be empty).
[[nodiscard]] ContinuousOptimum continuous_optimum(const NodeRows& node, bool least_squares, double relative,
                                                   double absolute2, const std::vector<Complex>& start,
                                                   const std::vector<JointCut>& cuts = {});

}  // namespace trimwright::slots_detail

#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

#include "trimwright/trim/slot_search.hpp"

namespace trimwright {

/// Rows x = residual + response * u over the planes' added moments u [g mm], with |u_p + offset| <= radius.
/// Rows are scaled (divided by their limits) so that they compare.
struct ContinuousProblem {
  Eigen::VectorXcd residual;  ///< n
  Eigen::MatrixXcd response;  ///< n x planes
  std::vector<MomentLimit> moment_limits;
};

/// Why a continuous solve ended.
enum class SolveStatus {
  solved,
  no_admissible_moment,  ///< the moment limits exclude each other
  inaccurate             ///< rounding stopped it early; the bound says how far it may be off
};

struct ContinuousSolution {
  SolveStatus status = SolveStatus::solved;
  Eigen::VectorXcd moments;  ///< u, one per plane [g mm]
  double objective = 0.0;    ///< max |x_i|, or sqrt(sum |x_i|^2)
  double bound = 0.0;        ///< no admissible u has a smaller objective
  Eigen::VectorXd weights;   ///< worst case: the w_i >= 0, sum 1, of the certificate
};

/// Minimises max_i |x_i|.
///
/// Goodman (1964) reweights least squares, which converges slowly and is unproved under constraints; this is
/// a log-barrier Newton method on the second-order-cone form min t, |x_i| <= t (S. Boyd and L. Vandenberghe,
/// *Convex Optimization*, 2004, chapter 11). The cone multipliers w_i give the certificate
///     max_i |x_i|^2 >= min_u sum_i w_i |x_i(u)|^2 + sum_l mu_l (|u_l + o_l|^2 - r_l^2)
/// for any w_i >= 0, sum w_i = 1, mu_l >= 0, which is what `bound` evaluates.
/// Planes that act alike leave u undetermined; the answer then lies near the smallest of the equally good
/// ones.
[[nodiscard]] ContinuousSolution minimise_worst_ratio(const ContinuousProblem& problem);

/// Minimises sum_i |x_i|^2: by singular values (the smallest solution when the planes act alike) where no
/// moment limit is active, else by the same barrier method.
[[nodiscard]] ContinuousSolution minimise_least_squares(const ContinuousProblem& problem);

}  // namespace trimwright

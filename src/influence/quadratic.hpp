#pragma once

#include <Eigen/Core>

#include <utility>
#include <vector>

#include "cancelling.hpp"

namespace trimwright {

/// x(V) of some rows and its covariance as functions of e = (1, Re V_1, Im V_1, ...): x = expected e, and the
/// covariance a quadratic form of matrices in e.
struct Quadratic {
  Eigen::MatrixXd expected;  ///< 2 rows x entries of e
  /// Its lower triangle, column after column: left (right p), p the products e_a e_b; left p where `left`
  /// has a column for each of them.
  Eigen::MatrixXd left, right;

  /// The lower triangle of the covariance, from `products_of(e)`.
  [[nodiscard]] Eigen::MatrixXd spread(const Eigen::VectorXd& products) const;
};

/// e_a e_b, a <= b, in turn.
[[nodiscard]] Eigen::VectorXd products_of(const Eigen::VectorXd& e);

[[nodiscard]] Quadratic quadratic_of(const KnownNoise& known, const std::vector<Eigen::Index>& rows,
                                     Eigen::Index entries);

/// Where component `k` of x(V) takes its part with e_a from among the unknowns, and the sign.
[[nodiscard]] std::pair<Eigen::Index, double> source(Eigen::Index a, Eigen::Index k, Eigen::Index entries);

/// Rows that what is known ties together, each set in rising order.
[[nodiscard]] std::vector<std::vector<Eigen::Index>> tied_rows(const std::vector<KnownNoise>& known,
                                                               Eigen::Index rows);

}  // namespace trimwright

#include "run_information.hpp"

#include <cassert>

#include "base/linear_algebra.hpp"

namespace trimwright {
namespace {

/// (X0, C) of a row, stacked, to x of that row with `unbalance`: 2 x 2 entries.
Eigen::MatrixXd to_reading(const Eigen::VectorXcd& unbalance) {
  Eigen::MatrixXd one = Eigen::MatrixXd::Zero(2, 2 + 2 * unbalance.size());
  one.leftCols<2>().setIdentity();
  for (Eigen::Index p = 0; p < unbalance.size(); ++p)
    one.block<2, 2>(0, 2 * p + 2) << unbalance(p).real(), -unbalance(p).imag(), unbalance(p).imag(),
        unbalance(p).real();
  return one;
}

}  // namespace

Eigen::MatrixXd foretold_covariance(const InfluencePosterior& posterior, const Eigen::VectorXcd& one,
                                    const Eigen::VectorXcd& other) {
  const auto rows = static_cast<Eigen::Index>(posterior.rows.size());
  const Eigen::Index width = 2 + 2 * static_cast<Eigen::Index>(posterior.planes.size());
  assert(2 + 2 * one.size() == width && 2 + 2 * other.size() == width);
  const Eigen::MatrixXd left = to_reading(one), right = to_reading(other);
  Eigen::MatrixXd half(2 * rows, width * rows), covariance(2 * rows, 2 * rows);
  for (Eigen::Index i = 0; i < rows; ++i)
    half.middleRows<2>(2 * i) = left * posterior.unknowns.covariance.middleRows(width * i, width);
  for (Eigen::Index i = 0; i < rows; ++i)
    covariance.middleCols<2>(2 * i) = half.middleCols(width * i, width) * right.transpose();
  return covariance;
}

Eigen::MatrixXd told_by_one_more_run(const InfluencePosterior& posterior, const Eigen::VectorXcd& wanted,
                                     const Eigen::VectorXcd& unbalance, const Eigen::MatrixXd& readings) {
  const Eigen::MatrixXd white =
      lower_solve(cholesky(readings), foretold_covariance(posterior, unbalance, wanted));
  return white.transpose() * white;
}

PhasorDistribution predicted_phasors(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance) {
  const Eigen::MatrixXd one = to_reading(unbalance);
  const auto rows = static_cast<Eigen::Index>(posterior.rows.size());
  PhasorDistribution x;
  x.degrees_of_freedom = posterior.unknowns.degrees_of_freedom;
  x.mean.resize(2 * rows);
  for (Eigen::Index i = 0; i < rows; ++i)
    x.mean.segment<2>(2 * i) = one * posterior.unknowns.mean.segment(one.cols() * i, one.cols());
  x.covariance = foretold_covariance(posterior, unbalance, unbalance);
  return x;
}

}  // namespace trimwright

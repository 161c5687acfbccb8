#include "run_information.hpp"

#include <cassert>

#include "base/linear_algebra.hpp"

namespace trimwright {

using Eigen::Index;
using Eigen::MatrixXd;

namespace {

/// (X0, C) of a row, stacked, to x of that row with `unbalance`: 2 x 2 entries.
MatrixXd to_reading(const Eigen::VectorXcd& unbalance) {
  MatrixXd one = MatrixXd::Zero(2, 2 + 2 * unbalance.size());
  one.leftCols<2>().setIdentity();
  for (Index p = 0; p < unbalance.size(); ++p)
    one.block<2, 2>(0, 2 * p + 2) << unbalance(p).real(), -unbalance(p).imag(), unbalance(p).imag(),
        unbalance(p).real();
  return one;
}

/// Places of rows among their stacked components.
std::vector<Index> components_of(const std::vector<Index>& rows) {
  std::vector<Index> at;
  for (const Index row : rows) at.insert(at.end(), {2 * row, 2 * row + 1});
  return at;
}

}  // namespace

InfluencePosterior after_one_more_run(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                                      const Eigen::MatrixXd& readings,
                                      const std::vector<Eigen::Index>& read) {
  const Index rows = static_cast<Index>(posterior.rows.size());
  const MatrixXd one = to_reading(unbalance);
  assert(one.cols() == 2 + 2 * static_cast<Index>(posterior.planes.size()) && readings.rows() == 2 * rows);
  MatrixXd design = MatrixXd::Zero(2 * rows, rows * one.cols());  // unknowns to what is read
  for (Index i = 0; i < rows; ++i) design.block(2 * i, i * one.cols(), 2, one.cols()) = one;
  const std::vector<Index> at = components_of(read);
  const MatrixXd shared = MatrixXd(design(at, Eigen::all)) * posterior.unknowns.covariance;
  const MatrixXd whitened = lower_solve(cholesky(readings(at, at)), shared);
  InfluencePosterior after = posterior;
  after.draws.reset();
  after.unknowns.covariance -= whitened.transpose() * whitened;
  return after;
}

MatrixXd foretold_covariance(const InfluencePosterior& posterior, const Eigen::VectorXcd& one,
                             const Eigen::VectorXcd& other) {
  const auto rows = static_cast<Index>(posterior.rows.size());
  const Index width = 2 + 2 * static_cast<Index>(posterior.planes.size());
  assert(2 + 2 * one.size() == width && 2 + 2 * other.size() == width);
  const MatrixXd left = to_reading(one), right = to_reading(other);
  MatrixXd half(2 * rows, width * rows), covariance(2 * rows, 2 * rows);
  for (Index i = 0; i < rows; ++i)
    half.middleRows<2>(2 * i) = left * posterior.unknowns.covariance.middleRows(width * i, width);
  for (Index i = 0; i < rows; ++i)
    covariance.middleCols<2>(2 * i) = half.middleCols(width * i, width) * right.transpose();
  return covariance;
}

MatrixXd told_by_one_more_run(const InfluencePosterior& posterior, const Eigen::VectorXcd& wanted,
                              const Eigen::VectorXcd& unbalance, const MatrixXd& readings,
                              const std::vector<Index>& read) {
  const std::vector<Index> at = components_of(read);
  const MatrixXd shared = foretold_covariance(posterior, unbalance, wanted)(at, Eigen::all);
  const MatrixXd white = lower_solve(cholesky(readings(at, at)), shared);
  return white.transpose() * white;
}

PhasorDistribution predicted_phasors(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance) {
  const MatrixXd one = to_reading(unbalance);
  const auto rows = static_cast<Index>(posterior.rows.size());
  PhasorDistribution x;
  x.degrees_of_freedom = posterior.unknowns.degrees_of_freedom;
  x.mean.resize(2 * rows);
  for (Index i = 0; i < rows; ++i)
    x.mean.segment<2>(2 * i) = one * posterior.unknowns.mean.segment(one.cols() * i, one.cols());
  x.covariance = foretold_covariance(posterior, unbalance, unbalance);
  return x;
}

}  // namespace trimwright

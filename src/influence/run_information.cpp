#include "run_information.hpp"

#include <cassert>

#include "base/linear_algebra.hpp"

namespace trimwright {

using Eigen::Index;
using Eigen::MatrixXd;

InfluencePosterior after_one_more_run(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                                      const Eigen::MatrixXd& readings,
                                      const std::vector<Eigen::Index>& read) {
  const Index entries = 1 + static_cast<Index>(posterior.planes.size());
  const Index rows = static_cast<Index>(posterior.rows.size());
  assert(unbalance.size() + 1 == entries && readings.rows() == 2 * rows);
  MatrixXd design = MatrixXd::Zero(2 * rows, 2 * rows * entries);  // unknowns to what is read
  for (Index i = 0; i < rows; ++i) {
    design.block<2, 2>(2 * i, 2 * i * entries).setIdentity();
    for (Index p = 0; p + 1 < entries; ++p)
      design.block<2, 2>(2 * i, 2 * (i * entries + 1 + p)) << unbalance(p).real(), -unbalance(p).imag(),
          unbalance(p).imag(), unbalance(p).real();
  }
  std::vector<Index> at;
  for (const Index row : read) at.insert(at.end(), {2 * row, 2 * row + 1});
  const MatrixXd shared = MatrixXd(design(at, Eigen::all)) * posterior.unknowns.covariance;
  const MatrixXd whitened = lower_solve(cholesky(readings(at, at)), shared);
  InfluencePosterior after = posterior;
  after.draws.reset();
  after.unknowns.covariance -= whitened.transpose() * whitened;
  return after;
}

}  // namespace trimwright

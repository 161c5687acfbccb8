#include <Eigen/SVD>
#include <algorithm>
#include <cmath>

#include "joint_system.hpp"

namespace trimwright {

using Eigen::Index;

InfluencePosterior solved_with_unexplained(const JointSystem& system, const NoiseModel& noise,
                                           const JointPrior& prior, const Eigen::VectorXd& scale) {
  constexpr int rounds = 12;
  constexpr double alike = 1e-3;  // singular values below this share: planes that cannot be told apart here
  const Index rows = static_cast<Index>(system.rows.size());
  const Index planes = static_cast<Index>(system.planes.size());
  InfluencePosterior posterior = solved_system(system, noise, prior);
  if (rows <= planes) return posterior;

  UnexplainedVibration unexplained;
  unexplained.coefficients.resize(rows, planes);
  Eigen::VectorXcd x0(rows);
  for (Index i = 0; i < rows; ++i) {
    x0(i) = posterior.unknowns.at(posterior.entry(static_cast<std::size_t>(i), 0));
    for (Index p = 0; p < planes; ++p)
      unexplained.coefficients(i, p) = posterior.unknowns.at(
          posterior.entry(static_cast<std::size_t>(i), static_cast<std::size_t>(p) + 1));
  }
  Eigen::MatrixXd spread(rows, planes);  // expected |dC|^2 without this knowledge
  for (Index i = 0; i < rows; ++i)
    for (Index p = 0; p < planes; ++p) {
      const auto at =
          static_cast<Index>(posterior.entry(static_cast<std::size_t>(i), static_cast<std::size_t>(p) + 1));
      spread(i, p) = posterior.unknowns.covariance.diagonal().segment<2>(2 * at).sum();
    }
  const Eigen::VectorXcd over = scale.cwiseInverse().cast<std::complex<double>>();
  Eigen::JacobiSVD<Eigen::MatrixXcd> svd(over.asDiagonal() * unexplained.coefficients,
                                         Eigen::ComputeThinU | Eigen::ComputeThinV);
  svd.setThreshold(alike);
  const Eigen::VectorXcd scaled = over.cwiseProduct(x0);
  unexplained.unbalance = -svd.solve(scaled);
  const double left =
      (scaled + over.asDiagonal() * (unexplained.coefficients * unexplained.unbalance)).squaredNorm();
  double factor = std::sqrt(left / static_cast<double>(2 * (rows - planes)));
  if (!(factor > 0.0)) return posterior;
  Eigen::VectorXd product = Eigen::VectorXd::Zero(rows);  // variance of dC dV per real component
  for (int round = 0; round < rounds; ++round) {
    const Eigen::VectorXd own = (factor * scale).cwiseAbs2();
    unexplained.sd = (own + product).cwiseSqrt();
    posterior = solved_system(system, noise, prior, &unexplained);
    // What of the leftover is d rather than the product of the two errors, and how large (one EM step).
    const Eigen::ArrayXd share = own.array() / (own + product).array();
    const Eigen::ArrayXd square =
        share.square() * unexplained.square.array() + 2.0 * own.array() * (1.0 - share);
    factor = std::sqrt((square / scale.array().square()).sum() / static_cast<double>(2 * rows));
    product = 0.5 * spread * unexplained.variance;
  }
  posterior.unexplained = factor * scale;
  posterior.unknowns.degrees_of_freedom =
      std::min(posterior.unknowns.degrees_of_freedom, static_cast<double>(2 * (rows - planes)));
  return posterior;
}

}  // namespace trimwright

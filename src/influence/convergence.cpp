#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numeric>

#include "posterior_draws.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Every value as the normal quantile of its rank among all (ties share their mean rank).
MatrixXd rank_normalised(const MatrixXd& chains) {
  const Index n = chains.size();
  std::vector<Index> order(static_cast<std::size_t>(n));
  std::iota(order.begin(), order.end(), Index{0});
  const double* values = chains.data();
  std::sort(order.begin(), order.end(), [values](Index a, Index b) { return values[a] < values[b]; });
  MatrixXd normal(chains.rows(), chains.cols());
  const boost::math::normal distribution;
  for (std::size_t from = 0; from < order.size();) {
    std::size_t to = from;
    while (to + 1 < order.size() && values[order[to + 1]] == values[order[from]]) ++to;
    const double rank = 0.5 * static_cast<double>(from + to) + 1.0;
    const double z = boost::math::quantile(distribution, (rank - 0.375) / (static_cast<double>(n) + 0.25));
    for (std::size_t k = from; k <= to; ++k) normal.data()[order[k]] = z;
    from = to + 1;
  }
  return normal;
}

MatrixXd halves(const MatrixXd& chains) {
  const Index half = chains.rows() / 2;
  MatrixXd split(half, 2 * chains.cols());
  split << chains.topRows(half), chains.bottomRows(half);
  return split;
}

/// Autocovariance of each chain at `lag`, their mean.
double autocovariance(const MatrixXd& centred, Index lag) {
  const Index n = centred.rows();
  return centred.topRows(n - lag).cwiseProduct(centred.bottomRows(n - lag)).sum() /
         static_cast<double>(n * centred.cols());
}

}  // namespace

Convergence convergence_of(const MatrixXd& chains) {
  const MatrixXd split = halves(rank_normalised(chains));
  const auto n = static_cast<double>(split.rows());
  const auto m = static_cast<double>(split.cols());
  const Eigen::RowVectorXd means = split.colwise().mean();
  const MatrixXd centred = split.rowwise() - means;
  const double within = centred.squaredNorm() / (m * (n - 1.0));
  const double between = (means.array() - means.mean()).square().sum() / (m - 1.0);
  if (!(within > 0.0)) return {1.0, n * m};
  const double total = (n - 1.0) / n * within + between;
  Convergence result;
  result.split_r_hat = std::sqrt(total / within);
  // C. J. Geyer's initial positive, then monotone sequence (*Statistical Science* 7 (1992)).
  const auto correlation = [&](Index lag) {
    return 1.0 - (within - autocovariance(centred, lag) * n / (n - 1.0)) / total;
  };
  double sum = 0.0, last = 1e300;
  for (Index lag = 0; lag + 1 < split.rows(); lag += 2) {
    const double pair = (lag == 0 ? 1.0 : correlation(lag)) + correlation(lag + 1);
    if (pair < 0.0) break;
    last = std::min(last, pair);
    sum += last;
  }
  result.effective_draws = n * m / std::max(2.0 * sum - 1.0, 1.0 / std::log10(n * m));
  return result;
}

}  // namespace trimwright

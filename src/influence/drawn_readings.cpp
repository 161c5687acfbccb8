#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <cmath>

#include "posterior_draws.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// Lower L with L L^T = m; columns of zeros where m is singular.
Eigen::Matrix2d lower_root(const Eigen::Matrix2d& m) {
  Eigen::Matrix2d root = Eigen::Matrix2d::Zero();
  root(0, 0) = std::sqrt(std::max(0.0, m(0, 0)));
  if (root(0, 0) > 0.0) root(1, 0) = m(1, 0) / root(0, 0);
  root(1, 1) = std::sqrt(std::max(0.0, m(1, 1) - root(1, 0) * root(1, 0)));
  return root;
}

}  // namespace

std::optional<Sampling> sampling_of(const InfluencePosterior& posterior) {
  if (!posterior.draws) return std::nullopt;
  return Sampling{static_cast<int>(posterior.draws->left.size()), posterior.draws->split_r_hat,
                  posterior.draws->effective_draws};
}

Eigen::MatrixXcd drawn_readings(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                                const std::vector<Eigen::Matrix2d>& fitting, int every) {
  constexpr std::uint64_t seed = 20312;
  const PosteriorDraws& draws = *posterior.draws;
  const auto rows = static_cast<Index>(posterior.rows.size());
  const auto planes = static_cast<Index>(posterior.planes.size());
  const Index count = draws.unknowns.cols() / every;
  std::vector<Eigen::Matrix2d> roots;
  for (const auto& one : fitting) roots.push_back(lower_root(one));
  boost::random::mt19937_64 generator(seed);
  boost::random::normal_distribution<double> normal;
  const auto noise = [&](double sd) {
    const double re = normal(generator);
    return sd * Phasor(re, normal(generator));
  };
  Eigen::MatrixXcd readings(rows, count);
  std::vector<Phasor> change(posterior.noise.sensors.size());
  for (Index d = 0; d < count; ++d) {
    const double* at = draws.unknowns.col(d * every).data();
    const NoiseModel& parts = draws.noise[draws.noise_of[static_cast<std::size_t>(d * every)]];
    Eigen::VectorXcd fitted = unbalance;
    for (Index p = 0; p < planes; ++p) {
      const Phasor z = noise(1.0);
      if (fitting.empty()) continue;
      const auto& root = roots[static_cast<std::size_t>(p)];
      fitted(p) += Phasor(root(0, 0) * z.real(), root(1, 0) * z.real() + root(1, 1) * z.imag());
    }
    for (std::size_t s = 0; s < change.size(); ++s) change[s] = noise(parts.sensors[s].run_to_run.sd);
    for (Index i = 0; i < rows; ++i) {
      Phasor x(at[0], at[1]);
      at += 2;
      for (Index p = 0; p < planes; ++p, at += 2) x += Phasor(at[0], at[1]) * fitted(p);
      const std::size_t s = posterior.rows[static_cast<std::size_t>(i)].second;
      const auto& own = parts.sensors[s];
      const double sd = std::hypot(own.within.sd, own.proportional * std::abs(x));
      readings(i, d) = x + parts.widened * (change[s] + noise(sd));
    }
  }
  return readings;
}

}  // namespace trimwright

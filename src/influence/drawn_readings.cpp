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

DrawnChance drawn_chance(const InfluencePosterior& posterior, int every) {
  constexpr std::uint64_t seed = 20312;
  const PosteriorDraws& draws = *posterior.draws;
  const auto rows = static_cast<Index>(posterior.rows.size());
  const Index count = draws.unknowns.cols() / every;
  boost::random::mt19937_64 generator(seed);
  boost::random::normal_distribution<double> normal;
  const auto noise = [&] {
    const double re = normal(generator);
    return Phasor(re, normal(generator));
  };
  DrawnChance chance{Eigen::MatrixXcd(rows, count), Eigen::MatrixXcd(rows, count),
                     Eigen::MatrixXcd(static_cast<Index>(posterior.planes.size()), count)};
  std::vector<Phasor> change(posterior.noise.sensors.size());
  for (Index d = 0; d < count; ++d) {
    const NoiseModel& parts = draws.noise[draws.noise_of[static_cast<std::size_t>(d * every)]];
    for (Phasor& one : chance.fitting.col(d)) one = noise();
    for (std::size_t s = 0; s < change.size(); ++s)
      change[s] = parts.widened * parts.sensors[s].run_to_run.sd * noise();
    for (Index i = 0; i < rows; ++i) {
      chance.shared(i, d) = change[posterior.rows[static_cast<std::size_t>(i)].second];
      chance.own(i, d) = noise();
    }
  }
  return chance;
}

Eigen::MatrixXcd drawn_readings(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                                const std::vector<Eigen::Matrix2d>& fitting, int every) {
  const PosteriorDraws& draws = *posterior.draws;
  const auto rows = static_cast<Index>(posterior.rows.size());
  const auto planes = static_cast<Index>(posterior.planes.size());
  const DrawnChance chance = drawn_chance(posterior, every);
  std::vector<Eigen::Matrix2d> roots;
  for (const auto& one : fitting) roots.push_back(lower_root(one));
  Eigen::MatrixXcd readings(rows, chance.own.cols());
  for (Index d = 0; d < readings.cols(); ++d) {
    const double* at = draws.unknowns.col(d * every).data();
    const NoiseModel& noise = draws.noise[draws.noise_of[static_cast<std::size_t>(d * every)]];
    Eigen::VectorXcd fitted = unbalance;
    for (Index p = 0; p < planes && !fitting.empty(); ++p) {
      const auto& root = roots[static_cast<std::size_t>(p)];
      const Phasor z = chance.fitting(p, d);
      fitted(p) += Phasor(root(0, 0) * z.real(), root(1, 0) * z.real() + root(1, 1) * z.imag());
    }
    for (Index i = 0; i < rows; ++i) {
      Phasor x(at[0], at[1]);
      at += 2;
      for (Index p = 0; p < planes; ++p, at += 2) x += Phasor(at[0], at[1]) * fitted(p);
      const std::size_t sensor = posterior.rows[static_cast<std::size_t>(i)].second;
      readings(i, d) = x + chance.shared(i, d) + own_sd(noise, sensor, std::abs(x)) * chance.own(i, d);
    }
  }
  return readings;
}

}  // namespace trimwright

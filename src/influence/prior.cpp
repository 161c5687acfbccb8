#include "trimwright/prior.hpp"

#include <algorithm>
#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <cmath>
#include <numeric>
#include <set>

#include "base/chance.hpp"
#include "base/linear_algebra.hpp"
#include "fleet_jobs.hpp"
#include "prior_place.hpp"
#include "trimwright/influence.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;

/// Of part `q` of the scatter, at most: one value a plane, or one for the rotor, of each job.
double most_freedom(const Prior& prior, std::size_t q) {
  std::set<std::string> names;
  for (const auto& one : prior.coefficients) names.insert(one.plane);
  const auto planes = static_cast<double>(names.size());
  const double common = prior.levels ? prior.levels->degrees_of_freedom : planes * (prior.jobs - 1);
  if (q < 2) return common;
  return q < 4 ? std::numeric_limits<double>::infinity() : common / planes;
}

/// The slope between neighbours, the phase by the shorter way round.
Phasor slope_between(const PriorCoefficient& a, const PriorCoefficient& b) {
  return std::log(b.mean / a.mean) / std::log(b.rpm / a.rpm);
}

}  // namespace

const std::array<std::string, FleetScatter::parts>& scatter_names() {
  static const std::array<std::string, FleetScatter::parts> names{
      "common_amplitude", "common_phase", "own_amplitude", "own_phase", "critical_speeds"};
  return names;
}

std::vector<Phasor> speed_slopes(const Prior& prior) {
  std::vector<Phasor> slopes;
  for (const auto& one : prior.coefficients) {
    const PriorCoefficient *below = nullptr, *above = nullptr;
    for (const auto& other : prior.coefficients) {
      if (other.plane != one.plane || other.sensor != one.sensor || other.mean == 0.0) continue;
      if (other.rpm < one.rpm && (below == nullptr || other.rpm > below->rpm)) below = &other;
      if (other.rpm > one.rpm && (above == nullptr || other.rpm < above->rpm)) above = &other;
    }
    if (one.mean == 0.0) below = above = nullptr;
    Phasor slope = 0.0;
    if (below != nullptr && above != nullptr) {
      const double down = std::log(one.rpm / below->rpm), up = std::log(above->rpm / one.rpm);
      slope = (up * slope_between(*below, one) + down * slope_between(one, *above)) / (up + down);
    } else if (below != nullptr) {
      slope = slope_between(*below, one);
    } else if (above != nullptr) {
      slope = slope_between(one, *above);
    }
    slopes.push_back(slope);
  }
  return slopes;
}

std::vector<MatrixXd> scatter_parts(const Prior& prior, const std::vector<std::size_t>& coefficients) {
  const Index n = static_cast<Index>(coefficients.size());
  const auto slopes = speed_slopes(prior);
  std::vector<MatrixXd> parts(FleetScatter::parts, MatrixXd::Zero(2 * n, 2 * n));
  Eigen::VectorXd slope(2 * n);
  for (Index a = 0; a < n; ++a) {
    const std::size_t one = coefficients[static_cast<std::size_t>(a)];
    slope.segment<2>(2 * a) << slopes[one].real(), slopes[one].imag();
    for (Index b = 0; b < n; ++b) {
      const std::size_t other = coefficients[static_cast<std::size_t>(b)];
      for (Index part = 0; part < 2; ++part) {
        const auto q = static_cast<std::size_t>(part);
        if (prior.coefficients[one].plane == prior.coefficients[other].plane)
          parts[q](2 * a + part, 2 * b + part) = 1.0;
        if (one == other) parts[2 + q](2 * a + part, 2 * b + part) = 1.0;
      }
    }
  }
  parts[4] = slope * slope.transpose();
  return parts;
}

std::vector<MatrixXd> scatter_parts(const Prior& prior) {
  std::vector<std::size_t> all(prior.coefficients.size());
  std::iota(all.begin(), all.end(), std::size_t{0});
  return scatter_parts(prior, all);
}

void take_scatter(Prior& prior, const Eigen::VectorXd& variances,
                  const FleetScatter::Covariance& covariance) {
  for (std::size_t q = 0; q < prior.scatter.sd.size(); ++q)
    prior.scatter.sd[q] = std::sqrt(variances(static_cast<Index>(q)));
  prior.scatter.covariance = covariance;
}

Eigen::MatrixXd relative_covariance(const Prior& prior) {
  MatrixXd covariance = prior.mean_covariance;
  const auto parts = scatter_parts(prior);
  for (std::size_t q = 0; q < parts.size(); ++q) covariance += std::pow(prior.scatter.sd[q], 2) * parts[q];
  return covariance;
}

double scatter_degrees_of_freedom(const Prior& prior) {
  const Eigen::VectorXd variances = relative_covariance(prior).diagonal();
  const auto n = static_cast<double>(prior.coefficients.size());
  const auto parts = scatter_parts(prior);
  double least = std::max(1.0, most_freedom(prior, 0));
  for (const Index part : {0, 1}) {
    double variance = 0.0;
    Eigen::VectorXd both = Eigen::VectorXd::Zero(FleetScatter::parts);  // how each acts on a coefficient
    for (Index i = part; i < variances.size(); i += 2) {
      variance += variances(i) / n;
      for (std::size_t q = 0; q < parts.size(); ++q) both(static_cast<Index>(q)) += parts[q](i, i) / n;
    }
    const double spread = both.dot(prior.scatter.covariance * both);
    if (spread > 0.0) least = std::min(least, 2.0 * variance * variance / spread);
  }
  return least;
}

std::vector<Prior> prior_draws(const Prior& prior, int count, std::uint64_t seed) {
  boost::random::mt19937_64 generator(seed);
  std::vector<Prior> draws(static_cast<std::size_t>(count), prior);
  for (std::size_t q = 0; q < FleetScatter::parts; ++q) {
    const double variance = std::pow(prior.scatter.sd[q], 2);
    const double spread = prior.scatter.covariance(static_cast<Index>(q), static_cast<Index>(q));
    const double freedom =
        std::min(spread > 0.0 ? 2.0 * variance * variance / spread : 1e9, most_freedom(prior, q));
    if (freedom > 1e6 || variance == 0.0) continue;
    boost::random::chi_squared_distribution<double> chi(std::max(1.0, freedom));
    for (auto& one : draws) one.scatter.sd[q] = std::sqrt(variance * std::max(1.0, freedom) / chi(generator));
  }
  return draws;
}

PriorMatch matched(const Prior& prior, const Job& job, const InfluencePosterior& posterior) {
  PriorMatch match;
  for (std::size_t i = 0; i < posterior.rows.size(); ++i)
    for (std::size_t p = 0; p < posterior.planes.size() && sharing_row(job, posterior.rows, i) == i; ++p) {
      const auto [speed, sensor] = posterior.rows[i];
      const auto found = std::find_if(prior.coefficients.begin(), prior.coefficients.end(),
                                      [&, s = speed, n = sensor](const auto& one) {
                                        return is_of_place(one, job, s, n, posterior.planes[p]);
                                      });
      if (found == prior.coefficients.end()) continue;
      match.prior.push_back(static_cast<std::size_t>(found - prior.coefficients.begin()));
      match.unknown.push_back(posterior.entry(i, 1 + p));
    }
  return match;
}

PriorMoments prior_moments(const Prior& prior, const std::vector<std::size_t>& coefficients) {
  const MatrixXd relative = relative_covariance(prior);
  const Index n = static_cast<Index>(coefficients.size());
  PriorMoments moments{Eigen::VectorXd(2 * n), MatrixXd(2 * n, 2 * n)};
  for (Index a = 0; a < n; ++a) {
    const std::size_t ia = coefficients[static_cast<std::size_t>(a)];
    const Phasor mean = prior.coefficients[ia].mean;
    moments.mean.segment<2>(2 * a) << mean.real(), mean.imag();
    for (Index b = 0; b < n; ++b) {
      const std::size_t ib = coefficients[static_cast<std::size_t>(b)];
      moments.covariance.block<2, 2>(2 * a, 2 * b) =
          as_real(mean) * relative.block<2, 2>(2 * static_cast<Index>(ia), 2 * static_cast<Index>(ib)) *
          as_real(prior.coefficients[ib].mean).transpose();
    }
  }
  return moments;
}

std::optional<FleetCheck> fleet_check(const Prior& prior, const Job& job, const InfluencePosterior& alone) {
  const PriorMatch match = matched(prior, job, alone);
  if (match.prior.empty()) return std::nullopt;
  const PriorMoments moments = prior_moments(prior, match.prior);
  const Index n = moments.mean.size();
  std::vector<Index> at;
  for (const std::size_t u : match.unknown)
    for (const Index part : {0, 1}) at.push_back(2 * static_cast<Index>(u) + part);
  const Eigen::VectorXd difference = alone.unknowns.mean(at) - moments.mean;
  const MatrixXd covariance = moments.covariance + alone.unknowns.covariance(at, at);

  // d^2 changes by -tr(V^-1 dV) on average when a variance of the scatter is off.
  Eigen::VectorXd slope(FleetScatter::parts);
  for (std::size_t q = 0; q < FleetScatter::parts; ++q) {
    Prior only = prior;
    only.scatter.sd.fill(0.0);
    only.scatter.sd[q] = 1.0;
    only.mean_covariance.setZero();
    slope(static_cast<Index>(q)) =
        positive_solve(covariance, prior_moments(only, match.prior).covariance).trace();
  }
  FleetCheck check;
  check.distance = (difference.transpose() * positive_solve(covariance, difference)).value();
  check.components = static_cast<int>(n);
  const double spread = slope.dot(prior.scatter.covariance * slope);
  if (spread > 0.0) check.degrees_of_freedom = 2.0 * static_cast<double>(n * n) / spread;
  check.probability = chance_of_distance(check.distance, check.components, check.degrees_of_freedom);
  return check;
}

}  // namespace trimwright

#include "outlook.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/constants/constants.hpp>
#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <cmath>
#include <numbers>

#include "base/linear_algebra.hpp"
#include "influence/plane_moments.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

double quantile(VectorXd values, double share) {
  const auto at = static_cast<Index>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values(at);
}

/// What the next run's readings scatter beyond `predicted_phasors`: 2n x 2n, from readings near `expected`.
MatrixXd next_run_noise(const InfluencePosterior& posterior, const VectorXd& expected) {
  const NoiseModel& parts = posterior.noise;
  const Index rows = static_cast<Index>(posterior.rows.size());
  MatrixXd noise = MatrixXd::Zero(2 * rows, 2 * rows);
  for (Index i = 0; i < rows; ++i) {
    const std::size_t sensor = posterior.rows[static_cast<std::size_t>(i)].second;
    const double own = own_sd(parts, sensor, expected.segment<2>(2 * i).norm());
    noise.block<2, 2>(2 * i, 2 * i).diagonal().setConstant(own * own);
    for (Index j = 0; j < rows; ++j)
      if (posterior.rows[static_cast<std::size_t>(j)].second == sensor)
        noise.block<2, 2>(2 * i, 2 * j).diagonal().array() +=
            std::pow(parts.widened * parts.sensors[sensor].run_to_run.sd, 2);
  }
  return noise;
}

}  // namespace

MatrixXd sampled_amplitudes(const PhasorDistribution& readings, const OutlookDraws& draws) {
  MatrixXd x = cholesky(readings.covariance).triangularView<Eigen::Lower>() * draws.normal;
  x *= draws.stretch.asDiagonal();
  x.colwise() += readings.mean;
  MatrixXd amplitudes(x.rows() / 2, x.cols());
  for (Index s = 0; s < x.cols(); ++s)
    for (Index i = 0; i < amplitudes.rows(); ++i) amplitudes(i, s) = std::hypot(x(2 * i, s), x(2 * i + 1, s));
  return amplitudes;
}

RowLevels row_levels(const Job& job, const InfluencePosterior& posterior) {
  const Index n = static_cast<Index>(posterior.rows.size());
  RowLevels levels{VectorXd(n), VectorXd(n)};
  for (Index i = 0; i < n; ++i) {
    const auto [speed, sensor] = posterior.rows[static_cast<std::size_t>(i)];
    const Place& place = place_of(job, speed, sensor);
    levels.limit(i) = place.limit;
    levels.target(i) = place.goal();
  }
  return levels;
}

Eigen::Matrix2d fitting_covariance(const Plane& plane, const FittedWeights& fitted) {
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();
  if (!plane.slots) return covariance;
  const double along = plane.weight_tolerance / std::sqrt(3.0);  // standard deviation of a uniform error
  const double across = plane.slot_tolerance_deg * boost::math::constants::degree<double>() / std::sqrt(3.0);
  for (const auto& [slot, piece] : fitted.slots) {
    const auto moment = slot_moment(plane, slot, piece);
    const Eigen::Vector2d radial(moment.real(), moment.imag());
    const Eigen::Vector2d tangent(-moment.imag(), moment.real());
    covariance +=
        along * along * radial * radial.transpose() + across * across * tangent * tangent.transpose();
  }
  return covariance;
}

PhasorDistribution next_readings(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                                 const std::vector<Eigen::Matrix2d>& fitting) {
  PhasorDistribution next = predicted_phasors(posterior, unbalance);
  next.covariance += next_run_noise(posterior, next.mean);
  const Index rows = static_cast<Index>(posterior.rows.size());
  for (std::size_t p = 0; p < fitting.size(); ++p) {
    MatrixXd effect(2 * rows, 2);
    for (Index i = 0; i < rows; ++i) {
      effect.middleRows<2>(2 * i) =
          as_real(posterior.unknowns.at(posterior.entry(static_cast<std::size_t>(i), 1 + p)));
    }
    next.covariance += effect * fitting[p] * effect.transpose();
  }
  next.covariance.diagonal().array() += 1e-12 * next.covariance.diagonal().maxCoeff() + 1e-300;
  return next;
}

std::vector<Phasor> nine_in_ten_ellipse(const PhasorDistribution& readings, std::size_t i, int corners) {
  const auto at = static_cast<Index>(2 * i);
  const Eigen::Matrix2d c = readings.covariance.block<2, 2>(at, at);
  const double l11 = std::sqrt(std::max(0.0, c(0, 0)));  // of Cholesky's factor
  const double l21 = l11 > 0.0 ? c(1, 0) / l11 : 0.0;
  const double l22 = std::sqrt(std::max(0.0, c(1, 1) - l21 * l21));
  const double nu = readings.degrees_of_freedom;
  const double reach =
      std::sqrt(nu > 1e6 ? -2.0 * std::log(0.1) : nu * std::expm1(-2.0 / nu * std::log(0.1)));
  std::vector<Phasor> outline;
  for (int corner = 0; corner < corners; ++corner) {
    const Phasor turned = std::polar(reach, 2.0 * std::numbers::pi * corner / corners);
    outline.push_back(readings.at(i) +
                      Phasor(l11 * turned.real(), l21 * turned.real() + l22 * turned.imag()));
  }
  return outline;
}

OutlookDraws::OutlookDraws(Index components, int samples, double degrees_of_freedom, std::uint64_t seed)
    : normal(components, samples), stretch(VectorXd::Ones(samples)) {
  boost::random::mt19937_64 generator(seed);
  boost::random::normal_distribution<double> gaussian;
  for (Index s = 0; s < samples; ++s)
    for (Index i = 0; i < components; ++i) normal(i, s) = gaussian(generator);
  if (degrees_of_freedom > 1e6) return;
  boost::random::chi_squared_distribution<double> chi(degrees_of_freedom);
  for (Index s = 0; s < samples; ++s) stretch(s) = std::sqrt(degrees_of_freedom / chi(generator));
}

namespace {

Outlook outlook_of_amplitudes(const MatrixXd& amplitudes, const RowLevels& levels) {
  const auto share = [&](const auto& flags) {
    return static_cast<double>(flags.count()) / static_cast<double>(amplitudes.cols());
  };
  const auto below = [&](const VectorXd& level) {
    return (amplitudes.array() <= level.replicate(1, amplitudes.cols()).array()).eval();
  };
  const auto limits = below(levels.limit), targets = below(levels.target);
  Outlook outlook;
  outlook.meets_limits = share(limits.colwise().all());
  outlook.meets_targets = share(targets.colwise().all());
  outlook.expected_worst =
      (levels.limit.cwiseInverse().asDiagonal() * amplitudes).colwise().maxCoeff().mean();
  for (Index i = 0; i < amplitudes.rows(); ++i)
    outlook.readings.push_back({quantile(amplitudes.row(i).transpose(), 0.05),
                                quantile(amplitudes.row(i).transpose(), 0.95), share(limits.row(i)),
                                share(targets.row(i))});
  return outlook;
}

}  // namespace

Outlook outlook_of(const PhasorDistribution& readings, const RowLevels& levels, const OutlookDraws& draws) {
  return outlook_of_amplitudes(sampled_amplitudes(readings, draws), levels);
}

Eigen::VectorXcd unbalance_with(const Job& job, const std::vector<std::size_t>& planes,
                                const std::vector<FittedWeights>& fitted) {
  return of_planes(unbalance_with(job, fitted), planes);
}

int samples_of(Index components, int most) {
  constexpr double components_for_most = 160.0;
  constexpr int least = 400;
  const double share = std::min(1.0, components_for_most / static_cast<double>(components));
  return std::max(std::min(least, most), static_cast<int>(most * share * share));
}

namespace {

std::vector<Eigen::Matrix2d> fitting_errors(const Job& job, const InfluencePosterior& posterior,
                                            const std::vector<FittedWeights>& fitted) {
  std::vector<Eigen::Matrix2d> errors;
  for (const std::size_t plane : posterior.planes)
    errors.push_back(fitting_covariance(job.rotor.planes[plane], fitted[plane]));
  return errors;
}

}  // namespace

PhasorDistribution next_readings_with(const Job& job, const InfluencePosterior& posterior,
                                      const std::vector<FittedWeights>& fitted) {
  return next_readings(posterior, unbalance_with(job, posterior.planes, fitted),
                       fitting_errors(job, posterior, fitted));
}

Outlook outlook_of(const InfluencePosterior& posterior, const Eigen::VectorXcd& unbalance,
                   const std::vector<Eigen::Matrix2d>& fitting, const RowLevels& levels, int samples) {
  if (posterior.draws)
    return outlook_of_amplitudes(drawn_readings(posterior, unbalance, fitting).cwiseAbs(), levels);
  const auto next = next_readings(posterior, unbalance, fitting);
  return outlook_of(next, levels,
                    OutlookDraws(next.mean.size(), samples_of(next.mean.size(), samples),
                                 next.degrees_of_freedom, draws_seed));
}

Outlook next_run_outlook(const Job& job, const InfluencePosterior& posterior,
                         const std::vector<FittedWeights>& fitted, int samples) {
  return outlook_of(posterior, unbalance_with(job, posterior.planes, fitted),
                    fitting_errors(job, posterior, fitted), row_levels(job, posterior), samples);
}

}  // namespace trimwright

#include "trimwright/trim/outlook.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/constants/constants.hpp>
#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <cassert>
#include <cmath>

#include "../base/linear_algebra.hpp"
#include "../influence/posterior_draws.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Amplitudes of sampled readings, rows x samples.
MatrixXd sampled_amplitudes(const PhasorDistribution& readings, const OutlookDraws& draws) {
  MatrixXd x = cholesky(readings.covariance).triangularView<Eigen::Lower>() * draws.normal;
  x *= draws.stretch.asDiagonal();
  x.colwise() += readings.mean;
  MatrixXd amplitudes(x.rows() / 2, x.cols());
  for (Index s = 0; s < x.cols(); ++s)
    for (Index i = 0; i < amplitudes.rows(); ++i) amplitudes(i, s) = std::hypot(x(2 * i, s), x(2 * i + 1, s));
  return amplitudes;
}

double quantile(VectorXd values, double share) {
  const auto at = static_cast<Index>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values(at);
}

/// Mean over the draws of a step at 1 of the worst ratio, smoothed so that a search has a slope everywhere.
double smooth_probability(const MatrixXd& amplitudes, const VectorXd& target) {
  constexpr double width = 0.08;  // of the target
  const Eigen::RowVectorXd worst = (target.cwiseInverse().asDiagonal() * amplitudes).colwise().maxCoeff();
  return (1.0 + ((worst.array() - 1.0) / width).exp()).inverse().mean();
}

/// Minimum of `f` near `start` by the simplex method; `size` is the first simplex's.
template <class F>
VectorXd simplex_minimum(F f, const VectorXd& start, const VectorXd& size, int most_calls) {
  const Index n = start.size();
  std::vector<std::pair<double, VectorXd>> simplex{{f(start), start}};
  for (Index k = 0; k < n; ++k) {
    VectorXd x = start;
    x(k) += size(k);
    simplex.emplace_back(f(x), x);
  }
  const auto by_value = [](const auto& a, const auto& b) { return a.first < b.first; };
  for (int calls = static_cast<int>(n) + 1; calls < most_calls;) {
    std::sort(simplex.begin(), simplex.end(), by_value);
    if (simplex.back().first - simplex.front().first < 1e-5) break;
    VectorXd centre = VectorXd::Zero(n);
    for (Index k = 0; k < n; ++k)
      centre += simplex[static_cast<std::size_t>(k)].second / static_cast<double>(n);
    const auto moved = [&](double by) {
      VectorXd x = centre + by * (simplex.back().second - centre);
      const double value = f(x);
      ++calls;
      return std::pair{value, std::move(x)};
    };
    auto next = moved(-1.0);
    const double second_worst = simplex[static_cast<std::size_t>(n) - 1].first;
    if (next.first < simplex.front().first) {
      if (auto further = moved(-2.0); further.first < next.first) next = std::move(further);
    } else if (next.first >= second_worst) {
      next = moved(next.first < simplex.back().first ? -0.5 : 0.5);
    }
    if (next.first < simplex.back().first) {
      simplex.back() = std::move(next);
      continue;
    }
    for (Index k = 1; k <= n; ++k) {
      auto& [value, x] = simplex[static_cast<std::size_t>(k)];
      x = 0.5 * (x + simplex.front().second);
      value = f(x);
      ++calls;
    }
  }
  return std::min_element(simplex.begin(), simplex.end(), by_value)->second;
}

}  // namespace

RowLevels row_levels(const Job& job, const InfluencePosterior& posterior) {
  const Index n = static_cast<Index>(posterior.rows.size());
  RowLevels levels{VectorXd(n), VectorXd(n)};
  for (Index i = 0; i < n; ++i) {
    const auto [speed, sensor] = posterior.rows[static_cast<std::size_t>(i)];
    const auto* band = job.rotor.sensors[sensor].band_at(job.speeds_rpm[speed]);
    assert(band);  // checked when the job was read
    levels.limit(i) = band->limit;
    levels.target(i) = band->target.value_or(band->limit);
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
      const Phasor c = posterior.unknowns.at(posterior.entry(static_cast<std::size_t>(i), 1 + p));
      effect.middleRows<2>(2 * i) << c.real(), -c.imag(), c.imag(), c.real();
    }
    next.covariance += effect * fitting[p] * effect.transpose();
  }
  next.covariance.diagonal().array() += 1e-12 * next.covariance.diagonal().maxCoeff() + 1e-300;
  return next;
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

std::string percent_words(double probability) {
  if (probability > 0.995) return "> 99 %";
  if (probability < 0.005) return "< 1 %";
  return fmt::format("{:.0f} %", 100.0 * probability);
}

Eigen::VectorXcd unbalance_with(const Job& job, const std::vector<std::size_t>& planes,
                                const std::vector<FittedWeights>& fitted) {
  Job fitted_so = job;
  fitted_so.fitted_now = fitted;
  const auto all = unbalance_now(fitted_so);
  Eigen::VectorXcd u(static_cast<Index>(planes.size()));
  for (std::size_t p = 0; p < planes.size(); ++p) u(static_cast<Index>(p)) = all[planes[p]];
  return u;
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
                    OutlookDraws(next.mean.size(), samples, next.degrees_of_freedom, outlook_seed));
}

Outlook next_run_outlook(const Job& job, const InfluencePosterior& posterior,
                         const std::vector<FittedWeights>& fitted, int samples) {
  return outlook_of(posterior, unbalance_with(job, posterior.planes, fitted),
                    fitting_errors(job, posterior, fitted), row_levels(job, posterior), samples);
}

Eigen::VectorXcd most_probable_moments(const InfluencePosterior& posterior,
                                       const Eigen::VectorXcd& unbalance_now,
                                       const std::vector<std::size_t>& entries, const RowLevels& levels,
                                       const Eigen::VectorXcd& start) {
  constexpr int search_samples = 300;
  constexpr int search_every = 4;  // of the posterior's draws
  constexpr int most_calls = 200;
  const OutlookDraws draws(2 * levels.target.size(), search_samples, posterior.unknowns.degrees_of_freedom,
                           outlook_seed);
  const Index planes = static_cast<Index>(entries.size());
  const auto moments = [&](const VectorXd& x) {
    Eigen::VectorXcd u(planes);
    for (Index p = 0; p < planes; ++p) u(p) = {x(2 * p), x(2 * p + 1)};
    return u;
  };
  const auto failing = [&](const VectorXd& x) {
    Eigen::VectorXcd after = unbalance_now;
    const Eigen::VectorXcd added = moments(x);
    for (Index p = 0; p < planes; ++p)
      after(static_cast<Index>(entries[static_cast<std::size_t>(p)])) += added(p);
    return -smooth_probability(posterior.draws
                                   ? MatrixXd(drawn_readings(posterior, after, {}, search_every).cwiseAbs())
                                   : sampled_amplitudes(next_readings(posterior, after), draws),
                               levels.target);
  };
  VectorXd from(2 * planes), size(2 * planes);
  for (Index p = 0; p < planes; ++p) {
    // A step whose effect on the most sensitive row is a third of its target.
    double strongest = 0.0;
    for (std::size_t i = 0; i < posterior.rows.size(); ++i)
      strongest = std::max(
          strongest,
          std::abs(posterior.unknowns.at(posterior.entry(i, 1 + entries[static_cast<std::size_t>(p)]))) /
              levels.target(static_cast<Index>(i)));
    from.segment<2>(2 * p) << start(p).real(), start(p).imag();
    size.segment<2>(2 * p).setConstant(strongest > 0.0 ? 1.0 / (3.0 * strongest) : 1.0);
  }
  return moments(simplex_minimum(failing, from, size, most_calls));
}

}  // namespace trimwright

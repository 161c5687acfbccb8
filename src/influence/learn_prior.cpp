#include <fmt/format.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "trimwright/influence/influence_posterior.hpp"
#include "trimwright/influence/prior.hpp"
#include "variance_components.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// A job's own coefficients, as entries of the prior being made.
struct JobEstimate {
  std::vector<std::size_t> coefficients;
  VectorXd mean;        ///< stacked (re, im)
  MatrixXd covariance;  ///< of the job's own error
};

Result<InfluencePosterior> posterior_alone(const FleetJob& job) {
  auto posterior = influence_posterior(job.job);
  if (posterior) return posterior;
  Error error = posterior.error();
  error.what = "job " + job.name + " does not settle its coefficients: " + error.what;
  return tl::unexpected(error);
}

/// Where a coefficient of a job stands in the prior; added at the end when it is new.
std::size_t place_of(Prior& prior, const Job& job, std::size_t speed, std::size_t sensor, std::size_t plane) {
  const auto& unit = job.rotor.sensors[sensor].unit.symbol;
  const auto& sensor_name = job.rotor.sensors[sensor].name;
  const auto& plane_name = job.rotor.planes[plane].name;
  for (std::size_t i = 0; i < prior.coefficients.size(); ++i) {
    const auto& one = prior.coefficients[i];
    if (std::abs(one.rpm - job.speeds_rpm[speed]) <= job.rotor.speed_tolerance_rpm && one.unit == unit &&
        one.sensor == sensor_name && one.plane == plane_name)
      return i;
  }
  prior.coefficients.push_back({job.speeds_rpm[speed], sensor_name, plane_name, unit, {}});
  return prior.coefficients.size() - 1;
}

JobEstimate estimate_of(Prior& prior, const Job& job, const InfluencePosterior& posterior) {
  JobEstimate estimate;
  std::vector<Index> at;
  for (std::size_t i = 0; i < posterior.rows.size(); ++i)
    for (std::size_t p = 0; p < posterior.planes.size(); ++p) {
      const auto [speed, sensor] = posterior.rows[i];
      estimate.coefficients.push_back(place_of(prior, job, speed, sensor, posterior.planes[p]));
      for (const std::size_t part : {0u, 1u})
        at.push_back(static_cast<Index>(2 * posterior.entry(i, 1 + p) + part));
    }
  estimate.mean = posterior.unknowns.mean(at);
  estimate.covariance = posterior.unknowns.covariance(at, at);
  return estimate;
}

/// Covariances per unit variance of the four parts of the scatter, among `coefficients`.
std::vector<MatrixXd> scatter_parts(const Prior& prior, const std::vector<std::size_t>& coefficients) {
  const Index n = static_cast<Index>(coefficients.size());
  std::vector<MatrixXd> parts(4, MatrixXd::Zero(2 * n, 2 * n));
  for (Index a = 0; a < n; ++a)
    for (Index b = 0; b < n; ++b) {
      const auto& one = prior.coefficients[coefficients[static_cast<std::size_t>(a)]];
      const auto& other = prior.coefficients[coefficients[static_cast<std::size_t>(b)]];
      for (Index part = 0; part < 2; ++part) {
        if (one.plane == other.plane) parts[static_cast<std::size_t>(part)](2 * a + part, 2 * b + part) = 1.0;
        if (a == b) parts[static_cast<std::size_t>(2 + part)](2 * a + part, 2 * a + part) = 1.0;
      }
    }
  return parts;
}

/// A job in the frame where the type's coefficients are 1: y = C / mean - 1.
ComponentBlock relative_block(const Prior& prior, const JobEstimate& job) {
  const Index n = static_cast<Index>(job.coefficients.size());
  MatrixXd divide = MatrixXd::Zero(2 * n, 2 * n);
  for (Index a = 0; a < n; ++a) {
    const Phasor by = 1.0 / prior.coefficients[job.coefficients[static_cast<std::size_t>(a)]].mean;
    divide.block<2, 2>(2 * a, 2 * a) << by.real(), -by.imag(), by.imag(), by.real();
  }
  ComponentBlock block;
  block.y = divide * job.mean;
  block.x = MatrixXd::Zero(2 * n, 2 * static_cast<Index>(prior.coefficients.size()));
  for (Index a = 0; a < n; ++a) {
    block.y(2 * a) -= 1.0;
    block.x.block<2, 2>(2 * a, 2 * static_cast<Index>(job.coefficients[static_cast<std::size_t>(a)]))
        .setIdentity();
  }
  block.fixed = divide * job.covariance * divide.transpose();
  block.parts = scatter_parts(prior, job.coefficients);
  return block;
}

/// Plain means of the jobs' coefficients, a start; and the coefficients that too few jobs have go.
void start_means(Prior& prior, std::vector<JobEstimate>& jobs) {
  std::vector<int> counts(prior.coefficients.size(), 0);
  for (const auto& job : jobs)
    for (std::size_t a = 0; a < job.coefficients.size(); ++a) {
      const Index i = 2 * static_cast<Index>(a);
      prior.coefficients[job.coefficients[a]].mean += Phasor(job.mean(i), job.mean(i + 1));
      ++counts[job.coefficients[a]];
    }
  std::vector<std::size_t> place(counts.size());
  std::vector<PriorCoefficient> kept;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    prior.coefficients[i].mean /= static_cast<double>(counts[i]);
    place[i] = kept.size();
    if (counts[i] >= fewest_fleet_jobs) kept.push_back(prior.coefficients[i]);
  }
  for (auto& job : jobs) {
    std::vector<Index> at;
    std::vector<std::size_t> coefficients;
    for (std::size_t a = 0; a < job.coefficients.size(); ++a) {
      if (counts[job.coefficients[a]] < fewest_fleet_jobs) continue;
      coefficients.push_back(place[job.coefficients[a]]);
      for (const Index part : {0, 1}) at.push_back(2 * static_cast<Index>(a) + part);
    }
    job.coefficients = coefficients;
    job.mean = VectorXd(job.mean(at));
    job.covariance = MatrixXd(job.covariance(at, at));
  }
  prior.coefficients = kept;
}

/// Scatter and means in turn until the means stay.
Result<void> pool(Prior& prior, const std::vector<JobEstimate>& jobs) {
  constexpr int most_rounds = 20;
  VectorXd start = VectorXd::Constant(4, 0.01);
  for (int round = 0; round < most_rounds; ++round) {
    std::vector<ComponentBlock> blocks;
    for (const auto& job : jobs) blocks.push_back(relative_block(prior, job));
    const auto fit = restricted_likelihood(blocks, start, VectorXd::Constant(4, 1e-10), true);
    start = fit.variances.cwiseMax(1e-6);
    for (std::size_t i = 0; i < prior.coefficients.size(); ++i) {
      const Index at = 2 * static_cast<Index>(i);
      prior.coefficients[i].mean *= Phasor(1.0 + fit.mean(at), fit.mean(at + 1));
    }
    for (std::size_t q = 0; q < 4; ++q) prior.scatter.sd[q] = std::sqrt(fit.variances(static_cast<Index>(q)));
    prior.scatter.covariance = fit.covariance;
    prior.mean_covariance = fit.mean_covariance;
    if (fit.converged && fit.mean.cwiseAbs().maxCoeff() < 1e-6) return {};
  }
  return fail("the scatter between these jobs does not settle to one answer",
              "more jobs of one rotor type, with trial weights that tell clearly");
}

}  // namespace

Result<Prior> learn_prior(const std::vector<FleetJob>& jobs) {
  if (jobs.size() < static_cast<std::size_t>(fewest_fleet_jobs))
    return fail(fmt::format("{} job{} cannot tell the scatter between rotors", jobs.size(),
                            jobs.size() == 1 ? "" : "s"),
                fmt::format("{} jobs of one rotor type or more", fewest_fleet_jobs));
  Prior prior;
  prior.rotor = jobs.front().job.rotor.name;
  prior.jobs = static_cast<int>(jobs.size());
  std::vector<JobEstimate> estimates;
  for (const auto& one : jobs) {
    if (one.job.rotor.name != prior.rotor)
      return fail("job " + one.name + " is on rotor \"" + one.job.rotor.name + "\"",
                  "jobs on one rotor type, here \"" + prior.rotor + "\"");
    const auto posterior = posterior_alone(one);
    if (!posterior) return tl::unexpected(posterior.error());
    estimates.push_back(estimate_of(prior, one.job, *posterior));
  }
  start_means(prior, estimates);
  if (prior.coefficients.empty())
    return fail("no coefficient is settled in enough jobs",
                fmt::format("the same speeds, sensors and planes in {} jobs", fewest_fleet_jobs));
  const auto pooled = pool(prior, estimates);
  if (!pooled) return tl::unexpected(pooled.error());
  return prior;
}

}  // namespace trimwright

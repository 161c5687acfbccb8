#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fleet_jobs.hpp"
#include "variance_components.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Scatter and means in turn until the means stay.
Result<void> pool(Prior& prior, const std::vector<JobEstimate>& jobs) {
  constexpr int most_rounds = 20;
  constexpr Index parts = FleetScatter::parts;
  VectorXd start = VectorXd::Constant(parts, 0.01);
  for (int round = 0; round < most_rounds; ++round) {
    std::vector<ComponentBlock> blocks;
    for (const auto& job : jobs) blocks.push_back(relative_block(prior, job));
    const auto fit = restricted_likelihood(blocks, start, VectorXd::Constant(parts, 1e-10), true);
    start = fit.variances.cwiseMax(1e-6);
    for (std::size_t i = 0; i < prior.coefficients.size(); ++i) {
      const Index at = 2 * static_cast<Index>(i);
      prior.coefficients[i].mean *= Phasor(1.0 + fit.mean(at), fit.mean(at + 1));
    }
    take_scatter(prior, fit.variances, fit.covariance);
    prior.mean_covariance = fit.mean_covariance;
    if (fit.converged && fit.mean.cwiseAbs().maxCoeff() < 1e-6) return {};
  }
  return fail("the scatter between these jobs does not settle to one answer",
              "more jobs of one rotor type, with trial weights that tell clearly");
}

/// The prior of some jobs; `outline` has the coefficients that their entries mean.
Result<Prior> pooled(Prior outline, std::vector<JobEstimate> jobs) {
  if (jobs.size() < static_cast<std::size_t>(fewest_fleet_jobs))
    return fail(fmt::format("{} job{} cannot tell the scatter between rotors", jobs.size(),
                            jobs.size() == 1 ? "" : "s"),
                fmt::format("{} jobs of one rotor type or more", fewest_fleet_jobs));
  outline.jobs = static_cast<int>(jobs.size());
  start_means(outline, jobs, fewest_fleet_jobs);
  if (outline.coefficients.empty())
    return fail("no coefficient is settled in enough jobs",
                fmt::format("the same speeds, sensors and planes in {} jobs", fewest_fleet_jobs));
  if (auto done = pool(outline, jobs); !done) return tl::unexpected(done.error());
  return outline;
}

/// Distances from the median of each coefficient, relative to it.
void measure_distances(const Prior& outline, std::vector<Candidate>& all) {
  std::vector<std::vector<double>> parts(2 * outline.coefficients.size());
  for (const auto& one : all)
    for (std::size_t a = 0; a < one.estimate.coefficients.size(); ++a)
      for (std::size_t k = 0; k < 2; ++k)
        parts[2 * one.estimate.coefficients[a] + k].push_back(
            one.estimate.mean(static_cast<Index>(2 * a + k)));
  std::vector<double> median;
  for (auto& values : parts) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    median.push_back(values.empty() ? 0.0 : *middle);
  }
  for (auto& one : all) {
    double sum = 0.0;
    for (std::size_t a = 0; a < one.estimate.coefficients.size(); ++a) {
      const std::size_t c = one.estimate.coefficients[a];
      const Phasor centre(median[2 * c], median[2 * c + 1]);
      const auto i = static_cast<Index>(2 * a);
      sum += std::norm(Phasor(one.estimate.mean(i), one.estimate.mean(i + 1)) - centre) /
             std::max(std::norm(centre), 1e-300);
    }
    one.distance = sum / static_cast<double>(std::max<std::size_t>(1, one.estimate.coefficients.size()));
  }
}

Result<Prior> pooled(const Prior& outline, const std::vector<Candidate>& all) {
  std::vector<JobEstimate> in;
  for (const auto& one : all)
    if (one.in) in.push_back(one.estimate);
  return pooled(outline, std::move(in));
}

}  // namespace

Result<Prior> prior_of_those_that_belong(const Prior& outline, std::vector<Candidate>& all) {
  constexpr int most_rounds = 5;
  measure_distances(outline, all);
  std::vector<double> distances;
  for (const auto& one : all) distances.push_back(one.distance);
  const std::size_t core = std::max<std::size_t>(fewest_fleet_jobs, (3 * all.size() + 3) / 4);
  std::sort(distances.begin(), distances.end());
  for (auto& one : all) one.in = all.size() <= core || one.distance <= distances[core - 1];
  auto prior = pooled(outline, all);
  for (int round = 0; prior && round < most_rounds; ++round) {
    bool changed = false;
    for (auto& one : all) {
      const auto check = fleet_check(*prior, one.job->job, one.alone);
      const bool in = check && check->probability >= belongs_to_fleet;
      changed = changed || in != one.in;
      one.in = in;
      if (!in)
        one.estimate.why = check ? fmt::format(
                                       "its coefficients do not belong to those of the other jobs (a rotor "
                                       "of the type is as far off with a probability of {:.1g})",
                                       check->probability)
                                 : "it shares no coefficient with the other jobs";
    }
    if (!changed) break;
    prior = pooled(outline, all);
  }
  return prior;
}

Result<Prior> learn_prior(const std::vector<FleetJob>& jobs) {
  Prior outline;
  if (!jobs.empty()) outline.rotor = jobs.front().job.rotor.name;
  auto all = fleet_candidates(jobs, outline);
  if (!all) return tl::unexpected(all.error());
  auto prior = prior_of_those_that_belong(outline, *all);
  if (!prior) return tl::unexpected(with_left_out(prior.error(), outline));
  for (const auto& one : *all)
    if (!one.in) prior->left_out.push_back({one.estimate.name, one.estimate.why});
  prior->left = left_by(*all);
  return prior;
}

}  // namespace trimwright

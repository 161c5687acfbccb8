#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/name.hpp"
#include "cancelling.hpp"
#include "events.hpp"
#include "prior_place.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/prior.hpp"
#include "variance_components.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// A job's own coefficients, as entries of the prior being made.
struct JobEstimate {
  std::string name;
  std::vector<std::size_t> coefficients;
  std::string why;                   ///< it is left out
  std::vector<std::size_t> dropped;  ///< those that too few jobs have
  VectorXd mean;                     ///< stacked (re, im)
  MatrixXd covariance;               ///< of the job's own error
};

/// Where a coefficient of a job stands in the prior; added at the end when it is new.
std::size_t prior_place(Prior& prior, const Job& job, std::size_t speed, std::size_t sensor,
                        std::size_t plane) {
  for (std::size_t i = 0; i < prior.coefficients.size(); ++i) {
    if (is_of_place(prior.coefficients[i], job, speed, sensor, plane)) return i;
  }
  const Sensor& read = job.rotor.sensors[sensor];
  prior.coefficients.push_back(
      {job.speeds_rpm[speed], read.name, job.rotor.planes[plane].name, read.unit.symbol, {}});
  return prior.coefficients.size() - 1;
}

JobEstimate estimate_of(Prior& prior, const std::string& name, const Job& job,
                        const InfluencePosterior& posterior) {
  JobEstimate estimate;
  estimate.name = name;
  std::vector<Index> at;
  for (std::size_t i = 0; i < posterior.rows.size(); ++i)
    for (std::size_t p = 0; p < posterior.planes.size() && sharing_row(job, posterior.rows, i) == i; ++p) {
      const auto [speed, sensor] = posterior.rows[i];
      estimate.coefficients.push_back(prior_place(prior, job, speed, sensor, posterior.planes[p]));
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

/// Why a coefficient of too few jobs finds no other: what of it is different.
std::string mismatch(const PriorCoefficient& lone, const std::vector<PriorCoefficient>& kept) {
  const PriorCoefficient* nearest = nullptr;
  for (const auto& one : kept)
    if (one.sensor == lone.sensor && one.plane == lone.plane &&
        (nearest == nullptr || std::abs(one.rpm - lone.rpm) < std::abs(nearest->rpm - lone.rpm)))
      nearest = &one;
  const std::string what =
      fmt::format("plane \"{}\" at sensor \"{}\", {:.0f} rpm: ", lone.plane, lone.sensor, lone.rpm);
  if (nearest == nullptr) return what + "too few jobs have a sensor and a plane of these names";
  if (nearest->unit != lone.unit)
    return what + fmt::format("in {}, where the others have {}", lone.unit, nearest->unit);
  return what + fmt::format("too few jobs have this speed (the nearest that enough have is {:.0f} rpm)",
                            nearest->rpm);
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
    prior.coefficients[i].mean /= static_cast<double>(std::max(1, counts[i]));
    prior.coefficients[i].jobs = counts[i];
    place[i] = kept.size();
    if (counts[i] >= fewest_fleet_jobs) kept.push_back(prior.coefficients[i]);
  }
  for (auto& job : jobs) {
    std::vector<Index> at;
    std::vector<std::size_t> coefficients;
    for (std::size_t a = 0; a < job.coefficients.size(); ++a) {
      if (counts[job.coefficients[a]] < fewest_fleet_jobs) {
        job.dropped.push_back(job.coefficients[a]);
        continue;
      }
      coefficients.push_back(place[job.coefficients[a]]);
      for (const Index part : {0, 1}) at.push_back(2 * static_cast<Index>(a) + part);
    }
    job.coefficients = coefficients;
    job.mean = VectorXd(job.mean(at));
    job.covariance = MatrixXd(job.covariance(at, at));
  }
  for (const auto& job : jobs)
    if (!job.dropped.empty())
      prior.left_out.push_back(
          {job.name, fmt::format("{} of its coefficients, such as {}", job.dropped.size(),
                                 mismatch(prior.coefficients[job.dropped.front()], kept))});
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

/// The prior of some jobs; `outline` has the coefficients that their entries mean.
Result<Prior> pooled(Prior outline, std::vector<JobEstimate> jobs) {
  if (jobs.size() < static_cast<std::size_t>(fewest_fleet_jobs))
    return fail(fmt::format("{} job{} cannot tell the scatter between rotors", jobs.size(),
                            jobs.size() == 1 ? "" : "s"),
                fmt::format("{} jobs of one rotor type or more", fewest_fleet_jobs));
  outline.jobs = static_cast<int>(jobs.size());
  start_means(outline, jobs);
  if (outline.coefficients.empty())
    return fail("no coefficient is settled in enough jobs",
                fmt::format("the same speeds, sensors and planes in {} jobs", fewest_fleet_jobs));
  if (auto done = pool(outline, jobs); !done) return tl::unexpected(done.error());
  return outline;
}

/// A job that may count, and its own answer.
struct Candidate {
  const FleetJob* job = nullptr;
  InfluencePosterior alone;
  JobEstimate estimate;
  double distance = 0.0;  ///< mean square of its relative distances from the medians
  bool in = true;
};

bool same_readings(const Job& a, const Job& b) {
  return a.runs.size() == b.runs.size() &&
         std::equal(a.runs.begin(), a.runs.end(), b.runs.begin(), [](const Run& one, const Run& other) {
           return std::equal(one.readings.begin(), one.readings.end(), other.readings.begin(),
                             other.readings.end(),
                             [](const Reading& x, const Reading& y) { return x.x == y.x && x.rpm == y.rpm; });
         });
}

/// A job's own answer, or why it has none that could count.
Result<InfluencePosterior> own_answer(const Job& job) {
  const auto model = fit_influence(job);
  if (!model) return tl::unexpected(model.error());
  if (job.rotor.phase == PhaseConvention::unknown)
    return fail("its phase is declared unknown", "lag or lead");
  using enum MirrorTest::Outcome;
  if (model->runs.mirror.outcome == contradicts)
    return fail("its runs contradict its declared conventions of phase and angle", "");
  if (model->runs.mirror.outcome == neither_fits)
    return fail("its runs fit neither way of reading the phases", "");
  if (!model->posterior) return fail("nothing tells how well its readings repeat", "");
  return *model->posterior;
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

/// Admits and leaves out jobs until those that are in are just those that belong to them.
Result<Prior> prior_of_those_that_belong(const Prior& outline, std::vector<Candidate>& all) {
  constexpr double belongs = 0.01;
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
      const bool in = check && check->probability >= belongs;
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

/// What is left after a trim of this type: likelihood of one size for all jobs, times the density believed
/// without any fleet, as a scaled inverse chi-squared variance of the same mean and variance of its
/// logarithm.
LeftByFleet left_by(const std::vector<Candidate>& all) {
  constexpr Index steps = 25;
  constexpr double most_freedom = 20.0;  // rotors of a type differ in this, too
  const VectorXd logs = VectorXd::LinSpaced(steps, std::log(0.002), std::log(0.5));
  VectorXd density(steps);
  for (Index k = 0; k < steps; ++k) density(k) = log_left_density(std::exp(logs(k)), std::nullopt) + logs(k);
  for (const auto& one : all) {
    if (!one.in || one.alone.rows.size() <= one.alone.planes.size()) continue;
    VectorXd limits(static_cast<Index>(one.alone.rows.size()));
    for (Index i = 0; i < limits.size(); ++i) {
      const auto [speed, sensor] = one.alone.rows[static_cast<std::size_t>(i)];
      limits(i) = place_of(one.job->job, speed, sensor).limit;
    }
    density += left_log_likelihood({one.alone.unknowns.mean, one.alone.unknowns.covariance, one.alone.noise},
                                   limits, logs.array().exp());
  }
  const VectorXd weight = (density.array() - density.maxCoeff()).exp();
  const double mean = weight.dot(logs) / weight.sum();
  const double variance = 4.0 * weight.dot((logs.array() - mean).square().matrix()) / weight.sum();
  // The logarithm of chi-squared with nu degrees of freedom has variance near 2 / nu + 2 / nu^2.
  const double freedom = variance > 0.0 ? (1.0 + std::sqrt(1.0 + 2.0 * variance)) / variance : most_freedom;
  return {std::exp(mean), std::clamp(freedom, 1.0, most_freedom)};
}

}  // namespace

Result<Prior> learn_prior(const std::vector<FleetJob>& jobs) {
  Prior outline;
  std::vector<Candidate> all;
  for (const auto& one : jobs) {
    if (outline.rotor.empty()) outline.rotor = one.job.rotor.name;
    if (!alike(one.job.rotor.name, outline.rotor))
      return fail("job " + one.name + " is on rotor \"" + one.job.rotor.name + "\"",
                  "jobs on one rotor type, here \"" + outline.rotor + "\"");
    const auto twin = std::find_if(all.begin(), all.end(), [&](const Candidate& other) {
      return same_readings(other.job->job, one.job);
    });
    if (twin != all.end()) {
      outline.left_out.push_back({one.name, "it has the same readings as " + twin->job->name});
      continue;
    }
    if (!event_parts(one.job).empty()) {
      outline.left_out.push_back(
          {one.name, "its phase reference moved or a sensor was changed between its runs"});
      continue;
    }
    auto own = own_answer(one.job);
    if (!own) {
      outline.left_out.push_back({one.name, own.error().what});
      continue;
    }
    Candidate candidate{&one, *std::move(own), {}, 0.0, true};
    candidate.estimate = estimate_of(outline, one.name, one.job, candidate.alone);
    all.push_back(std::move(candidate));
  }
  auto prior = prior_of_those_that_belong(outline, all);
  if (!prior) {
    Error error = prior.error();
    for (const auto& one : outline.left_out) error.what += "; left out is " + one.name + ": " + one.why;
    return tl::unexpected(error);
  }
  for (const auto& one : all)
    if (!one.in) prior->left_out.push_back({one.estimate.name, one.estimate.why});
  prior->left = left_by(all);
  return prior;
}

}  // namespace trimwright

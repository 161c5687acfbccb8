#include "fleet_jobs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/linear_algebra.hpp"
#include "base/name.hpp"
#include "cancelling.hpp"
#include "events.hpp"
#include "prior_place.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

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

/// The same readings at the same speeds.
bool same_run_readings(const Run& one, const Run& other) {
  return std::equal(one.readings.begin(), one.readings.end(), other.readings.begin(), other.readings.end(),
                    [](const Reading& x, const Reading& y) { return x.x == y.x && x.rpm == y.rpm; });
}

bool same_readings(const Job& a, const Job& b) {
  return std::equal(a.runs.begin(), a.runs.end(), b.runs.begin(), b.runs.end(), same_run_readings);
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

}  // namespace

ComponentBlock relative_block(const Prior& prior, const JobEstimate& job) {
  const Index n = static_cast<Index>(job.coefficients.size());
  MatrixXd divide = MatrixXd::Zero(2 * n, 2 * n);
  for (Index a = 0; a < n; ++a) {
    divide.block<2, 2>(2 * a, 2 * a) =
        as_real(1.0 / prior.coefficients[job.coefficients[static_cast<std::size_t>(a)]].mean);
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

void start_means(Prior& prior, std::vector<JobEstimate>& jobs, int fewest) {
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
    if (counts[i] >= fewest) kept.push_back(prior.coefficients[i]);
  }
  for (auto& job : jobs) {
    std::vector<Index> at;
    std::vector<std::size_t> coefficients;
    for (std::size_t a = 0; a < job.coefficients.size(); ++a) {
      if (counts[job.coefficients[a]] < fewest) {
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

Result<std::vector<Candidate>> fleet_candidates(const std::vector<FleetJob>& jobs, Prior& outline) {
  std::vector<Candidate> all;
  for (const auto& one : jobs) {
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
  return all;
}

Error with_left_out(Error error, const Prior& outline) {
  for (const auto& one : outline.left_out) error.what += "; left out is " + one.name + ": " + one.why;
  return error;
}

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

bool begin_alike(const Job& one, const Job& other) {
  return !one.runs.empty() && !other.runs.empty() && !one.runs.front().readings.empty() &&
         same_run_readings(one.runs.front(), other.runs.front());
}

}  // namespace trimwright

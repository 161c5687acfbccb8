#pragma once

#include <vector>

#include "trimwright/influence.hpp"
#include "trimwright/prior.hpp"
#include "variance_components.hpp"

namespace trimwright {

/// A job's own coefficients, as entries of the prior being made.
struct JobEstimate {
  std::string name;
  std::vector<std::size_t> coefficients;
  std::string why;                   ///< it is left out
  std::vector<std::size_t> dropped;  ///< those that too few jobs have
  Eigen::VectorXd mean;              ///< stacked (re, im)
  Eigen::MatrixXd covariance;        ///< of the job's own error
};

/// A job that may count, and its own answer.
struct Candidate {
  const FleetJob* job = nullptr;
  InfluencePosterior alone;
  JobEstimate estimate;
  double distance = 0.0;  ///< mean square of its relative distances from the medians
  bool in = true;
};

/// The jobs that may count, and in `outline` the coefficients that their entries mean; the others are told in
/// its `left_out`. Error: a job on another type than the outline's.
[[nodiscard]] Result<std::vector<Candidate>> fleet_candidates(const std::vector<FleetJob>& jobs,
                                                              Prior& outline);

/// The same message with why other jobs were left out.
[[nodiscard]] Error with_left_out(Error error, const Prior& outline);

/// Admits and leaves out jobs until those that are in are just those that belong to them.
[[nodiscard]] Result<Prior> prior_of_those_that_belong(const Prior& outline, std::vector<Candidate>& all);

/// Plain means of the jobs' coefficients, a start; and the coefficients that fewer than `fewest` jobs have
/// go.
void start_means(Prior& prior, std::vector<JobEstimate>& jobs, int fewest);

/// Covariances per unit variance of the parts of the scatter, among `coefficients`.
[[nodiscard]] std::vector<Eigen::MatrixXd> scatter_parts(const Prior& prior,
                                                         const std::vector<std::size_t>& coefficients);
[[nodiscard]] std::vector<Eigen::MatrixXd> scatter_parts(const Prior& prior);  ///< of all

void take_scatter(Prior& prior, const Eigen::VectorXd& variances, const FleetScatter::Covariance& covariance);

/// A job in the frame where the type's coefficients are 1: y = C / mean - 1.
[[nodiscard]] ComponentBlock relative_block(const Prior& prior, const JobEstimate& job);

/// What is left after a trim of this type: likelihood of one size for all jobs, times the density believed
/// without any fleet, as a scaled inverse chi-squared variance of the same mean and variance of its
/// logarithm.
[[nodiscard]] LeftByFleet left_by(const std::vector<Candidate>& all);

/// Whether two jobs have a first run of the same readings.
[[nodiscard]] bool begin_alike(const Job& one, const Job& other);

}  // namespace trimwright

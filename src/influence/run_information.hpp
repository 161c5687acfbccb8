#pragma once

#include <Eigen/Core>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// What one more run would leave open: the posterior after a run with `unbalance` (one per plane of the
/// posterior) in which the rows `read` are read. Only the covariance changes: what will be read is not known.
/// `readings`: covariance (2n x 2n, all rows) of what that run will read, noise and errors of fitting
/// included, as `next_readings` has it.
///
/// The update of a linear Gaussian model, in which the covariance does not depend on the readings (A. C.
/// Atkinson, A. N. Donev and R. D. Tobias, *Optimum Experimental Designs, with SAS*, 2007, on criteria of
/// optimality).
[[nodiscard]] InfluencePosterior after_one_more_run(const InfluencePosterior& posterior,
                                                    const Eigen::VectorXcd& unbalance,
                                                    const Eigen::MatrixXd& readings,
                                                    const std::vector<Eigen::Index>& read);

/// Covariance of what is foretold with the unbalance `one` and with `other` (one entry per plane of the
/// posterior), noise left out: 2n x 2n, stacked as (re, im) of each row.
[[nodiscard]] Eigen::MatrixXd foretold_covariance(const InfluencePosterior& posterior,
                                                  const Eigen::VectorXcd& one, const Eigen::VectorXcd& other);

/// What the same run would take off the covariance of what is foretold with `wanted` (2n x 2n), at a small
/// part of the cost of the posterior after it.
[[nodiscard]] Eigen::MatrixXd told_by_one_more_run(const InfluencePosterior& posterior,
                                                   const Eigen::VectorXcd& wanted,
                                                   const Eigen::VectorXcd& unbalance,
                                                   const Eigen::MatrixXd& readings,
                                                   const std::vector<Eigen::Index>& read);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// U of the planes solved for, one row per run used: what the runs can tell apart.
struct RunMatrix {
  std::vector<std::size_t> runs;    ///< indices into Job::runs, those not set aside
  std::vector<std::size_t> planes;  ///< indices into Rotor::planes
  Eigen::MatrixXcd unbalance;       ///< runs x planes [g mm]
  Eigen::VectorXcd centre;          ///< mean of each column
  Eigen::VectorXd scale;            ///< norm of each centred column
  int rank = 0;                     ///< of (1, unbalance)
  double condition = 0.0;           ///< of the centred columns scaled to unit norm

  /// (1, (U_run - centre) / scale) for entry `run` of `runs`.
  [[nodiscard]] Eigen::RowVectorXcd design_row(std::size_t run) const;
};

/// Relative size below which a singular value of the scaled matrix counts as zero. Moments come from files in
/// double precision, so truly dependent runs leave about 1e-15.
inline constexpr double rank_tolerance = 1e-9;

/// Errors: a named plane that no run changed, planes that the runs cannot separate (naming the missing run),
/// no run at all. `wanted` empty: all planes that any run changed.
[[nodiscard]] Result<RunMatrix> run_matrix(const Job& job, const std::vector<std::size_t>& wanted);

}  // namespace trimwright

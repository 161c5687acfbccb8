#pragma once

#include <Eigen/Core>
#include <vector>

#include "trimwright/trim.hpp"

namespace trimwright {

/// The rows of a model as they depend on the moments added in the planes used.
struct TrimRows {
  std::vector<std::size_t> planes;   ///< indices into Rotor::planes
  std::vector<std::size_t> entries;  ///< the same planes as entries of InfluenceModel::planes
  Eigen::VectorXcd unbalance_now;    ///< of all model planes
  Eigen::VectorXcd now;              ///< x now, peak, one per model row
  Eigen::MatrixXcd response;         ///< rows x planes used
  Eigen::VectorXd limit;
  Eigen::VectorXd target;                  ///< the limit where no target is set
  Eigen::VectorXd weight;                  ///< of the row's speed
  std::vector<MomentLimit> moment_limits;  ///< plane = position in `planes`

  [[nodiscard]] Eigen::VectorXd ratios(const Eigen::VectorXcd& added) const {
    return (now + response * added).cwiseAbs().cwiseQuotient(limit);
  }
  [[nodiscard]] double worst_ratio(const Eigen::VectorXcd& added) const { return ratios(added).maxCoeff(); }
};

[[nodiscard]] Result<TrimRows> trim_rows(const Job& job, const InfluenceModel& model,
                                         const TrimRequest& request, const std::vector<std::size_t>& planes);

/// A row of the trade-off that leaves `added`: its levels beside limits and targets; objective and bound are
/// the caller's.
[[nodiscard]] TradeOffRow row_with(const TrimRows& rows, const Eigen::VectorXcd& added,
                                   std::vector<SlotChange> changes);

/// Rows over their limits, times their weights, with the rows of the request's penalty below them.
[[nodiscard]] ContinuousProblem scaled_rows(const TrimRows& rows, double penalty);

/// Worst case or least squares over moments of every size and angle. Error: the moment limits exclude each
/// other.
[[nodiscard]] Result<Correction> correction_of(const TrimRows& rows, const TrimRequest& request);

/// What the next run is expected to read, as planned.
void add_forecast(TrimPlan& plan, Forecast next);

}  // namespace trimwright

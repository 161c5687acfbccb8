#include "trim_rows.hpp"

#include <algorithm>

#include "influence/plane_moments.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

Result<std::vector<std::size_t>> model_entries(const Job& job, const InfluenceModel& model,
                                               const std::vector<std::size_t>& planes) {
  std::vector<std::size_t> entries;
  for (const std::size_t plane : planes) {
    const auto found = std::find(model.planes.begin(), model.planes.end(), plane);
    if (found == model.planes.end())
      return fail("plane \"" + job.rotor.planes[plane].name + "\" has no influence coefficients",
                  "a run that changes its weights, or a trim without it");
    entries.push_back(static_cast<std::size_t>(found - model.planes.begin()));
  }
  return entries;
}

void add_moment_limits(const Job& job, TrimRows& rows) {
  for (std::size_t p = 0; p < rows.planes.size(); ++p) {
    const Plane& plane = job.rotor.planes[rows.planes[p]];
    const int index = static_cast<int>(p);
    if (plane.max_added_moment_g_mm) rows.moment_limits.push_back({index, 0.0, *plane.max_added_moment_g_mm});
    if (plane.max_total_moment_g_mm)
      rows.moment_limits.push_back(
          {index, total_moment(plane, job.fitted_now[rows.planes[p]]), *plane.max_total_moment_g_mm});
  }
}

double speed_weight(const TrimRequest& request, std::size_t speed) {
  for (const auto& one : request.speed_weights)
    if (one.speed == speed) return one.weight;
  return 1.0;
}

}  // namespace

Result<TrimRows> trim_rows(const Job& job, const InfluenceModel& model, const TrimRequest& request,
                           const std::vector<std::size_t>& planes) {
  auto entries = model_entries(job, model, planes);
  if (!entries) return tl::unexpected(entries.error());
  TrimRows rows;
  rows.planes = planes;
  rows.entries = *entries;

  rows.unbalance_now = of_planes(unbalance_now(job), model.planes);

  const Index n = static_cast<Index>(model.rows.size());
  rows.now.resize(n);
  rows.response.resize(n, static_cast<Index>(planes.size()));
  rows.limit.resize(n);
  rows.target.resize(n);
  rows.weight.resize(n);
  for (Index i = 0; i < n; ++i) {
    const auto& row = model.rows[static_cast<std::size_t>(i)];
    const Place& place = place_of(job, row.speed, row.sensor);
    rows.now(i) = predict(row, rows.unbalance_now);
    for (std::size_t p = 0; p < planes.size(); ++p)
      rows.response(i, static_cast<Index>(p)) = row.coefficients(static_cast<Index>(rows.entries[p]));
    rows.limit(i) = place.limit;
    rows.target(i) = place.goal();
    rows.weight(i) = speed_weight(request, row.speed);
  }
  add_moment_limits(job, rows);
  return rows;
}

TradeOffRow row_with(const TrimRows& rows, const Eigen::VectorXcd& added, std::vector<SlotChange> changes) {
  TradeOffRow row;
  row.changes = std::move(changes);
  const Eigen::VectorXd amplitudes = (rows.now + rows.response * added).cwiseAbs();
  row.worst_ratio = rows.worst_ratio(added);
  row.meets_limits = (amplitudes.array() <= rows.limit.array()).all();
  row.meets_targets = (amplitudes.array() <= rows.target.array()).all();
  return row;
}

ContinuousProblem scaled_rows(const TrimRows& rows, double penalty) {
  const Eigen::VectorXcd scale = rows.weight.cwiseQuotient(rows.limit).cast<std::complex<double>>();
  ContinuousProblem problem{rows.now.cwiseProduct(scale), scale.asDiagonal() * rows.response,
                            rows.moment_limits};
  if (penalty <= 0.0) return problem;
  const Index n = problem.residual.size();
  const Index planes = problem.response.cols();
  const Eigen::RowVectorXd strongest = problem.response.cwiseAbs().colwise().maxCoeff();
  problem.residual.conservativeResize(n + planes);
  problem.response.conservativeResize(n + planes, planes);
  problem.residual.tail(planes).setZero();
  problem.response.bottomRows(planes) = (penalty * strongest).cast<std::complex<double>>().asDiagonal();
  return problem;
}

void add_forecast(TrimPlan& plan, Forecast next) {
  plan.predictions = std::move(next.predictions);
  plan.not_predicted = std::move(next.not_predicted);
  plan.outlook = std::move(next.outlook);
}

Result<Correction> correction_of(const TrimRows& rows, const TrimRequest& request) {
  const auto problem = scaled_rows(rows, request.penalty);
  const auto solution = request.objective == SlotObjective::worst_ratio ? minimise_worst_ratio(problem)
                                                                        : minimise_least_squares(problem);
  if (solution.status == SolveStatus::no_admissible_moment)
    return fail("no moment satisfies the limits on total and on added moment of the planes",
                "limits that what is fitted now, or some change of it, can satisfy");
  TrimRows unweighted = rows;
  unweighted.weight.setOnes();
  Correction correction;
  for (std::size_t p = 0; p < rows.planes.size(); ++p)
    correction.parts.push_back({rows.planes[p], solution.moments(static_cast<Index>(p))});
  correction.worst_ratio = rows.worst_ratio(solution.moments);
  correction.bound =
      std::min(minimise_worst_ratio(scaled_rows(unweighted, 0.0)).bound, correction.worst_ratio);
  return correction;
}

}  // namespace trimwright

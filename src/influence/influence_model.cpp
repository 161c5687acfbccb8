#include "trimwright/influence/influence_model.hpp"

#include <Eigen/SVD>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>

#include "plane_condition.hpp"
#include "run_matrix.hpp"
#include "trimwright/influence/mirror_test.hpp"
#include "usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// A reading that can be used for one speed and sensor.
struct Usable {
  std::size_t run = 0;  ///< entry of RunMatrix::runs
  const Reading* reading = nullptr;
};

using RowKey = std::pair<std::size_t, std::size_t>;  // speed, sensor

/// Readings by speed and sensor; those left out are told in `model`.
std::map<RowKey, std::vector<Usable>> usable_readings(const Job& job, const RunMatrix& matrix,
                                                      InfluenceModel& model) {
  std::map<RowKey, std::vector<Usable>> rows;
  for (std::size_t r = 0; r < matrix.runs.size(); ++r) {
    const Run& run = job.runs[matrix.runs[r]];
    for (const auto& reading : run.readings) {
      const auto why = why_not_usable(job, run, reading);
      if (!why.empty()) {
        model.left_out.push_back({matrix.runs[r], reading.speed, reading.sensor, why});
      } else {
        rows[{reading.speed, reading.sensor}].push_back({r, &reading});
      }
    }
  }
  return rows;
}

/// "no usable reading in run "a" or "b"": the runs that a row lacks.
std::string runs_without(const Job& job, const RunMatrix& matrix, const std::vector<Usable>& usable) {
  std::string text;
  for (std::size_t r = 0; r < matrix.runs.size(); ++r) {
    if (std::any_of(usable.begin(), usable.end(), [r](const Usable& u) { return u.run == r; })) continue;
    text += (text.empty() ? "no usable reading in run \"" : " or \"") + job.runs[matrix.runs[r]].name + "\"";
  }
  return text;
}

/// Standard deviation of each reading, or empty when one of them is not stated.
std::vector<double> all_stated_sd(const Rotor& rotor, const std::vector<Usable>& usable) {
  std::vector<double> sd;
  for (const auto& one : usable) {
    const auto stated = stated_sd(rotor, *one.reading);
    if (!stated) return {};
    sd.push_back(*stated);
  }
  return sd;
}

/// The regression of one speed and sensor; empty when its readings do not settle it.
std::optional<InfluenceRow> fit_row(const Job& job, const RunMatrix& matrix,
                                    const std::vector<Usable>& usable) {
  const Index unknowns = 1 + matrix.unbalance.cols();
  const Index n = static_cast<Index>(usable.size());
  if (n < unknowns) return std::nullopt;

  const auto sd = all_stated_sd(job.rotor, usable);
  double reference = 0.0;  // root mean square of the stated deviations: readings weigh reference / sd
  for (const double s : sd) reference += s * s / static_cast<double>(sd.size());
  reference = std::sqrt(reference);

  Eigen::MatrixXcd design(n, unknowns);
  Eigen::VectorXcd x(n);
  for (Index i = 0; i < n; ++i) {
    const auto& one = usable[static_cast<std::size_t>(i)];
    const double weight = sd.empty() ? 1.0 : reference / sd[static_cast<std::size_t>(i)];
    design.row(i) = weight * matrix.design_row(one.run);
    x(i) = weight * *one.reading->x;
  }

  Eigen::JacobiSVD<Eigen::MatrixXcd> svd(design, Eigen::ComputeThinU | Eigen::ComputeThinV);
  svd.setThreshold(rank_tolerance);
  if (svd.rank() < unknowns) return std::nullopt;
  const Eigen::VectorXcd solution = svd.solve(x);

  InfluenceRow row;
  row.speed = usable.front().reading->speed;
  row.sensor = usable.front().reading->sensor;
  row.readings = static_cast<int>(n);
  row.spare = static_cast<int>(n - unknowns);
  const Eigen::VectorXcd fitted = design * solution;
  for (Index i = 0; i < n; ++i) {
    const auto& one = usable[static_cast<std::size_t>(i)];
    const double weight = sd.empty() ? 1.0 : reference / sd[static_cast<std::size_t>(i)];
    row.fit.push_back({matrix.runs[one.run], *one.reading->x, fitted(i) / weight});
  }
  row.residual_square_sum = row.spare > 0 ? (x - fitted).squaredNorm() : 0.0;
  row.coefficients = solution.tail(unknowns - 1).cwiseQuotient(matrix.scale.cast<std::complex<double>>());
  row.baseline = solution(0) - (row.coefficients.transpose() * matrix.centre).value();
  if (!sd.empty()) row.reading_sd = reference;

  Eigen::VectorXd unscale = Eigen::VectorXd::Ones(unknowns);
  unscale.tail(unknowns - 1) = matrix.scale.cwiseInverse();
  const Eigen::MatrixXcd factor =
      unscale.asDiagonal() * (svd.matrixV() * svd.singularValues().cwiseInverse().asDiagonal());
  row.unit_covariance = factor * factor.adjoint();
  return row;
}

/// Rows of a sensor without stated repeatability share one estimate from their spare readings.
void estimate_missing_sd(const Rotor& rotor, std::vector<InfluenceRow>& rows) {
  for (std::size_t sensor = 0; sensor < rotor.sensors.size(); ++sensor) {
    double squares = 0.0;
    int spare = 0;
    for (const auto& row : rows) {
      if (row.sensor != sensor || row.reading_sd) continue;
      squares += row.residual_square_sum;
      spare += row.spare;
    }
    if (spare == 0) continue;
    for (auto& row : rows) {
      if (row.sensor != sensor || row.reading_sd) continue;
      row.reading_sd = std::sqrt(squares / (2.0 * spare));
      row.sd_is_estimated = true;
    }
  }
}

void sum_chi_squared(InfluenceModel& model) {
  for (const auto& row : model.rows) {
    if (!row.reading_sd || row.sd_is_estimated) continue;
    model.chi_squared += row.residual_square_sum / (*row.reading_sd * *row.reading_sd);
    model.chi_squared_dof += 2 * row.spare;
  }
}

/// Least squares in the convention the job's rotor says, without the mirror test.
Result<InfluenceModel> fit_as_given(const Job& job, const std::vector<std::size_t>& planes) {
  auto matrix = run_matrix(job, planes);
  if (!matrix) return tl::unexpected(matrix.error());

  InfluenceModel model;
  model.convention = job.rotor.phase;
  model.planes = matrix->planes;
  model.centre = matrix->centre;
  model.runs_used = matrix->runs;
  model.rank = matrix->rank;
  model.condition = matrix->condition;
  for (const auto& [key, usable] : usable_readings(job, *matrix, model)) {
    if (auto row = fit_row(job, *matrix, usable)) {
      model.rows.push_back(std::move(*row));
    } else {
      model.unsettled.push_back({key.first, key.second, runs_without(job, *matrix, usable)});
    }
  }
  if (model.rows.empty()) {
    const std::string detail = model.unsettled.empty() ? std::string{} : ": " + model.unsettled.front().why;
    return fail("no speed and sensor has enough usable once-per-rev readings with phase" + detail,
                "at one speed at least, a reading in the baseline and in each trial run");
  }
  estimate_missing_sd(job.rotor, model.rows);
  sum_chi_squared(model);
  model.planes_condition = condition_of_planes(job, model);
  return model;
}

}  // namespace

double condition_of_planes(const Job& job, const InfluenceModel& model) {
  Eigen::MatrixXcd c(static_cast<Index>(model.rows.size()), static_cast<Index>(model.planes.size()));
  for (std::size_t i = 0; i < model.rows.size(); ++i) {
    const auto& row = model.rows[i];
    c.row(static_cast<Index>(i)) = row.coefficients.transpose() / place_of(job, row.speed, row.sensor).limit;
  }
  for (Index p = 0; p < c.cols(); ++p)
    if (c.col(p).norm() > 0.0) c.col(p).normalize();
  const Eigen::VectorXd singular = Eigen::JacobiSVD<Eigen::MatrixXcd>(c).singularValues();
  if (c.rows() < c.cols()) return std::numeric_limits<double>::infinity();
  return singular(0) / singular(singular.size() - 1);
}

Result<InfluenceModel> fit_influence(const Job& job, const std::vector<std::size_t>& planes) {
  auto model = fit_as_given(job, planes);
  if (!model) return model;
  const auto mirrored_convention =
      job.rotor.phase == PhaseConvention::lag ? PhaseConvention::lead : PhaseConvention::lag;
  const auto mirrored = fit_as_given(with_phase_convention(job, mirrored_convention), planes);
  if (mirrored) model->mirror = compare_conventions(*model, *mirrored);
  return model;
}

Phasor predict(const InfluenceRow& row, const Eigen::VectorXcd& unbalance) {
  return row.baseline + (row.coefficients.transpose() * unbalance).value();
}

namespace {

/// Where a row stands in the model's posterior.
std::optional<Index> posterior_row(const InfluenceModel& model, const InfluenceRow& row) {
  if (!model.posterior) return std::nullopt;
  const auto& rows = model.posterior->rows;
  const auto found = std::find(rows.begin(), rows.end(), RowKey{row.speed, row.sensor});
  if (found == rows.end()) return std::nullopt;
  return found - rows.begin();
}

}  // namespace

double excess_scatter(const InfluenceModel& model) {
  if (model.chi_squared_dof == 0 || fit_probability(model) >= 0.01) return 1.0;
  return std::sqrt(model.chi_squared / model.chi_squared_dof);
}

std::optional<Eigen::MatrixXcd> prediction_covariance(const InfluenceModel& model, const InfluenceRow& row) {
  if (const auto entry = posterior_row(model, row)) {
    Eigen::MatrixXcd centred = Eigen::MatrixXcd::Identity(1 + model.centre.size(), 1 + model.centre.size());
    centred.bottomLeftCorner(model.centre.size(), 1) = model.centre;
    return centred.transpose() * circular_covariance(*model.posterior, static_cast<std::size_t>(*entry)) *
           centred.conjugate();
  }
  if (!row.reading_sd) return std::nullopt;
  return std::pow(*row.reading_sd * excess_scatter(model), 2) * row.unit_covariance;
}

std::optional<double> prediction_sd(const InfluenceModel& model, const InfluenceRow& row,
                                    const Eigen::VectorXcd& unbalance) {
  const auto covariance = prediction_covariance(model, row);
  if (!covariance) return std::nullopt;
  Eigen::VectorXcd at(1 + unbalance.size());
  at(0) = 1.0;
  at.tail(unbalance.size()) = unbalance - model.centre;
  return std::sqrt((at.transpose() * *covariance * at.conjugate()).value().real());
}

std::optional<double> coefficient_sd(const InfluenceModel& model, const InfluenceRow& row, std::size_t p) {
  if (const auto entry = posterior_row(model, row)) {
    const auto at = 2 * static_cast<Index>(model.posterior->entry(static_cast<std::size_t>(*entry), 1 + p));
    return std::sqrt(0.5 * model.posterior->unknowns.covariance.diagonal().segment<2>(at).sum());
  }
  if (!row.reading_sd) return std::nullopt;
  const auto index = static_cast<Index>(p) + 1;
  return *row.reading_sd * std::sqrt(row.unit_covariance(index, index).real());
}

double fit_probability(const InfluenceModel& model) {
  if (model.chi_squared_dof == 0) return 1.0;
  const boost::math::chi_squared distribution(model.chi_squared_dof);
  return boost::math::cdf(boost::math::complement(distribution, model.chi_squared));
}

}  // namespace trimwright

#include "trimwright/influence.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "base/chance.hpp"
#include "base/linear_algebra.hpp"
#include "events.hpp"
#include "mirror_test.hpp"
#include "plane_condition.hpp"
#include "run_matrix.hpp"
#include "runs_fit.hpp"
#include "usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// Readings that take no part are told in `model`.
void tell_left_out(const Job& job, InfluenceModel& model) {
  for (const std::size_t r : model.runs.used)
    for (const auto& reading : job.runs[r].readings)
      if (const auto why = why_not_usable(job, job.runs[r], reading); !why.empty())
        model.runs.left_out.push_back({r, reading.speed, reading.sensor, why});
}

/// "no usable reading in run "a" or "b"": the runs that a row lacks.
std::string runs_without(const Job& job, const JointSystem& system, std::size_t row) {
  std::string text;
  std::vector<bool> read(system.runs.size());
  for (const auto& one : system.readings)
    if (one.row == row) read[one.run] = true;
  for (std::size_t r = 0; r < system.runs.size(); ++r) {
    if (read[r]) continue;
    text += (text.empty() ? "no usable reading in run \"" : " or \"") + job.runs[system.runs[r]].name + "\"";
  }
  return text;
}

/// New baselines that row `i` of a sensor has readings before.
int shifts_of(const JointSystem& system, const SensorFit& sensor, std::size_t i) {
  int shifts = 0;
  for (Index e = 0; e < system.shifts.cols(); ++e)
    shifts += std::any_of(sensor.readings.begin(), sensor.readings.end(), [&](std::size_t k) {
      const auto& one = system.readings[k];
      return one.row == sensor.rows[i] && system.shifts(static_cast<Index>(one.run), e) != 0.0;
    });
  return shifts;
}

/// Readings beyond the unknowns of row `i` of a sensor and of those that share its coefficients.
int spare_of(const JointSystem& system, const SensorFit& sensor, std::size_t i) {
  int spare = -static_cast<int>(system.planes.size());
  for (std::size_t j = 0; j < sensor.rows.size(); ++j) {
    if (sensor.shares[j] != sensor.shares[i]) continue;
    spare -= 1 + shifts_of(system, sensor, j);
    for (const std::size_t k : sensor.readings) spare += system.readings[k].row == sensor.rows[j] ? 1 : 0;
  }
  return std::max(0, spare);
}

/// The rows of a fit, with what stands behind each.
void take_rows(const RunsFit& fit, InfluenceModel& model) {
  const Index entries = 1 + static_cast<Index>(fit.system.planes.size()), stride = fit.system.entries();
  for (const auto& sensor : fit.sensors)
    for (std::size_t i = 0; i < sensor.rows.size(); ++i) {
      InfluenceRow row;
      std::tie(row.speed, row.sensor) = fit.system.rows[sensor.rows[i]];
      const Index from = static_cast<Index>(i) * stride;
      row.baseline = sensor.estimate(from);
      row.coefficients = sensor.estimate.segment(from + 1, entries - 1);
      if (fit.noise.known) row.reading_sd = fit.noise.sensors[row.sensor].within.sd;
      std::vector<Index> own;
      for (std::size_t k = 0; k < sensor.readings.size(); ++k) {
        const auto& reading = fit.system.readings[sensor.readings[k]];
        if (reading.row != sensor.rows[i]) continue;
        const auto at = static_cast<Index>(k);
        own.push_back(at);
        row.fit.push_back({fit.system.runs[reading.run], reading.x, reading.x - sensor.residual(at),
                           reading.scale * reading.sd.value_or(fit.noise.sensors[row.sensor].within.sd),
                           std::sqrt(sensor.variance(at))});
      }
      row.gain = sensor.gain.topRows(entries)(Eigen::all, own);
      row.readings = static_cast<int>(row.fit.size());
      row.spare = spare_of(fit.system, sensor, i);
      model.rows.push_back(std::move(row));
    }
  std::sort(model.rows.begin(), model.rows.end(), [](const InfluenceRow& a, const InfluenceRow& b) {
    return std::pair(a.speed, a.sensor) < std::pair(b.speed, b.sensor);
  });
}

}  // namespace

Result<RunsFit> fit_as_given(const Job& job, const std::vector<std::size_t>& planes, InfluenceModel* model) {
  auto matrix = run_matrix(job, planes);
  if (!matrix) return tl::unexpected(matrix.error());
  const JointSystem all = joint_system(job, matrix->planes);
  if (auto fits = check_size(all, all.shifts.cols() > 0 || !all.open_events().empty()); !fits)
    return tl::unexpected(fits.error());
  const JointSystem settled = settled_rows(
      all, std::vector<std::vector<bool>>(all.rows.size(), std::vector<bool>(matrix->planes.size())));
  std::vector<UnsettledRow> unsettled;
  for (std::size_t i = 0; i < all.rows.size(); ++i)
    if (std::find(settled.rows.begin(), settled.rows.end(), all.rows[i]) == settled.rows.end())
      unsettled.push_back({all.rows[i].first, all.rows[i].second, runs_without(job, all, i)});
  if (settled.rows.empty()) {
    const std::string detail = unsettled.empty() ? std::string{} : ": " + unsettled.front().why;
    return fail("no speed and sensor has enough usable once-per-rev readings with phase" + detail,
                "at one speed at least, a reading in the baseline and in each trial run");
  }
  auto fit = fit_runs(job, settled);
  if (auto told = check_events(job, fit.system); !told) return tl::unexpected(told.error());
  if (model == nullptr) return fit;
  model->convention = job.rotor.phase;
  model->planes = matrix->planes;
  model->centre = matrix->centre;
  model->runs.used = matrix->runs;
  model->runs.rank = matrix->rank;
  model->runs.condition = matrix->condition;
  model->unsettled = std::move(unsettled);
  tell_left_out(job, *model);
  take_rows(fit, *model);
  model->runs.misfit = fit.judged_misfit();
  model->runs.misfit_dof = fit.judged_freedom();
  model->planes_condition = condition_of_planes(job, *model);
  if (auto act = check_effects(job, *model, matrix->unbalance); !act) return tl::unexpected(act.error());
  if (fit.noise.known) model->posterior = posterior_of(fit);
  return fit;
}

Result<void> check_effects(const Job& job, const InfluenceModel& model, const Eigen::MatrixXcd& unbalance) {
  for (Index p = 0; p < unbalance.cols(); ++p) {
    const double change = (unbalance.col(p).array() - unbalance.col(p).mean()).abs().maxCoeff();
    const bool acts = std::any_of(model.rows.begin(), model.rows.end(), [&](const InfluenceRow& row) {
      const double size = std::max(std::abs(predict(row, model.centre)), std::abs(row.baseline));
      return std::abs(row.coefficients(p)) * change > no_effect * size;
    });
    if (acts) continue;
    const std::string& name = job.rotor.planes[model.planes[static_cast<std::size_t>(p)]].name;
    return fail(
        "the runs cannot tell how plane \"" + name +
            "\" acts: the weights that were changed there changed no reading",
        "readings of a trial run that differ from the baseline's (were they copied, or was the weight not "
        "fitted?), or a heavier weight in \"" +
            name + "\"");
  }
  return {};
}

double condition_of_planes(const Job& job, const InfluenceModel& model) {
  Eigen::MatrixXcd c(static_cast<Index>(model.rows.size()), static_cast<Index>(model.planes.size()));
  for (std::size_t i = 0; i < model.rows.size(); ++i) {
    const auto& row = model.rows[i];
    c.row(static_cast<Index>(i)) = row.coefficients.transpose() / place_of(job, row.speed, row.sensor).limit;
  }
  for (Index p = 0; p < c.cols(); ++p)
    if (c.col(p).norm() > 0.0) c.col(p).normalize();
  const Eigen::VectorXd singular = singular_values(c).values;
  if (c.rows() < c.cols()) return std::numeric_limits<double>::infinity();
  return singular(0) / singular(singular.size() - 1);
}

Result<InfluenceModel> fit_influence(const Job& job, const std::vector<std::size_t>& planes) {
  InfluenceModel model;
  const auto given = fit_as_given(job, planes, &model);
  if (!given) return tl::unexpected(given.error());
  const auto other = job.rotor.phase == PhaseConvention::lag ? PhaseConvention::lead : PhaseConvention::lag;
  const auto mirrored = fit_as_given(with_phase_convention(job, other), planes);
  if (mirrored) model.runs.mirror = compare_conventions(*given, *mirrored);
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
  const auto found = std::find(rows.begin(), rows.end(), std::pair(row.speed, row.sensor));
  if (found == rows.end()) return std::nullopt;
  return found - rows.begin();
}

}  // namespace

bool runs_agree(const InfluenceModel& model) { return fit_probability(model) >= disagreeing_fit; }

double excess_scatter(const InfluenceModel& model) {
  if (model.runs.misfit_dof == 0 || fit_probability(model) >= doubtful_fit) return 1.0;
  return std::sqrt(model.runs.misfit / model.runs.misfit_dof);
}

std::optional<Eigen::MatrixXcd> prediction_covariance(const InfluenceModel& model, const InfluenceRow& row) {
  const auto entry = posterior_row(model, row);
  if (!entry) return std::nullopt;
  Eigen::MatrixXcd centred = Eigen::MatrixXcd::Identity(1 + model.centre.size(), 1 + model.centre.size());
  centred.bottomLeftCorner(model.centre.size(), 1) = model.centre;
  return centred.transpose() * circular_covariance(*model.posterior, static_cast<std::size_t>(*entry)) *
         centred.conjugate();
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
  const auto entry = posterior_row(model, row);
  if (!entry) return std::nullopt;
  const auto at = 2 * static_cast<Index>(model.posterior->entry(static_cast<std::size_t>(*entry), 1 + p));
  return std::sqrt(0.5 * model.posterior->unknowns.covariance.diagonal().segment<2>(at).sum());
}

double fit_probability(const InfluenceModel& model) {
  if (model.runs.misfit_dof == 0) return 1.0;
  return chance_of_chi_squared(model.runs.misfit, model.runs.misfit_dof);
}

}  // namespace trimwright

#include "trimwright/influence/influence_model.hpp"

#include <Eigen/SVD>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

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

/// Condition of the coefficients, rows divided by their limits and columns by their norms.
double condition_of_planes(const Job& job, const InfluenceModel& model) {
  Eigen::MatrixXcd c(static_cast<Index>(model.rows.size()), static_cast<Index>(model.planes.size()));
  for (std::size_t i = 0; i < model.rows.size(); ++i) {
    const auto& row = model.rows[i];
    const auto* band = job.rotor.sensors[row.sensor].band_at(job.speeds_rpm[row.speed]);
    c.row(static_cast<Index>(i)) = row.coefficients.transpose() / (band ? band->limit : 1.0);
  }
  for (Index p = 0; p < c.cols(); ++p)
    if (c.col(p).norm() > 0.0) c.col(p).normalize();
  const Eigen::VectorXd singular = Eigen::JacobiSVD<Eigen::MatrixXcd>(c).singularValues();
  if (c.rows() < c.cols()) return std::numeric_limits<double>::infinity();
  return singular(0) / singular(singular.size() - 1);
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

Result<InfluenceModel> fit_influence(const Job& job, const std::vector<std::size_t>& planes) {
  auto model = fit_as_given(job, planes);
  if (!model) return model;
  const auto mirrored_convention =
      job.rotor.phase == PhaseConvention::lag ? PhaseConvention::lead : PhaseConvention::lag;
  const auto mirrored = fit_as_given(with_phase_convention(job, mirrored_convention), planes);
  if (mirrored) model->mirror = compare_conventions(*model, *mirrored);
  return model;
}

namespace {

/// The rows of a posterior as a model has them, with the readings they were made from.
void take_posterior_rows(const Job& job, const InfluencePosterior& posterior, InfluenceModel& model) {
  const Index entries = 1 + static_cast<Index>(posterior.planes.size());
  model.rows.clear();
  for (std::size_t i = 0; i < posterior.rows.size(); ++i) {
    InfluenceRow row;
    std::tie(row.speed, row.sensor) = posterior.rows[i];
    row.baseline = posterior.unknowns.at(posterior.entry(i, 0));
    row.coefficients.resize(entries - 1);
    for (Index p = 0; p + 1 < entries; ++p)
      row.coefficients(p) = posterior.unknowns.at(posterior.entry(i, static_cast<std::size_t>(p) + 1));
    row.reading_sd = posterior.noise.sensors[row.sensor].within.sd;
    row.unit_covariance = Eigen::MatrixXcd::Zero(entries, entries);
    for (const std::size_t r : model.runs_used) {
      const auto unbalance = run_unbalance(job, r);
      Eigen::VectorXcd u(entries - 1);
      for (Index p = 0; p + 1 < entries; ++p) u(p) = unbalance[posterior.planes[static_cast<std::size_t>(p)]];
      for (const auto& reading : job.runs[r].readings)
        if (reading.speed == row.speed && reading.sensor == row.sensor &&
            why_not_usable(job, job.runs[r], reading).empty())
          row.fit.push_back({r, *reading.x, predict(row, u)});
    }
    row.readings = static_cast<int>(row.fit.size());
    row.spare = std::max(0, row.readings - static_cast<int>(entries));
    for (const auto& one : row.fit) row.residual_square_sum += std::norm(one.read - one.fitted);
    model.rows.push_back(std::move(row));
  }
}

/// A model of a job whose runs alone settle nothing: readings left out are told, the rest is the prior's.
InfluenceModel model_without_trials(const Job& job) {
  InfluenceModel model;
  model.convention = job.rotor.phase;
  for (std::size_t r = 0; r < job.runs.size(); ++r) {
    const Run& run = job.runs[r];
    if (run.set_aside) continue;
    model.runs_used.push_back(r);
    for (const auto& reading : run.readings)
      if (const auto why = why_not_usable(job, run, reading); !why.empty())
        model.left_out.push_back({r, reading.speed, reading.sensor, why});
  }
  return model;
}

/// Rows with usable readings that neither the runs nor the prior settle.
void tell_unsettled(const Job& job, InfluenceModel& model) {
  std::set<RowKey> told;
  model.unsettled.clear();
  for (const auto& row : model.rows) told.insert({row.speed, row.sensor});
  for (const std::size_t r : model.runs_used)
    for (const auto& reading : job.runs[r].readings)
      if (why_not_usable(job, job.runs[r], reading).empty() &&
          told.insert({reading.speed, reading.sensor}).second)
        model.unsettled.push_back(
            {reading.speed, reading.sensor, "neither the prior nor the runs tell how the planes act here"});
}

/// Runs and prior combined, in the convention the job's rotor says.
Result<InfluenceModel> fit_with_prior(const Job& job, const std::vector<std::size_t>& planes,
                                      const Prior& prior) {
  auto posterior = influence_posterior(job, planes, &prior, Residual::small);
  if (!posterior) return tl::unexpected(posterior.error());
  auto alone = fit_influence(job);
  InfluenceModel model = alone ? std::move(*alone) : model_without_trials(job);
  if (const auto own = influence_posterior(job)) model.fleet = fleet_check(prior, job, *own);
  model.with_prior = true;
  model.prior_jobs = prior.jobs;
  model.planes = posterior->planes;
  model.centre = Eigen::VectorXcd::Zero(static_cast<Index>(model.planes.size()));
  take_posterior_rows(job, *posterior, model);
  tell_unsettled(job, model);
  model.planes_condition = condition_of_planes(job, model);
  model.posterior = *posterior;
  model.belief = std::move(*posterior);
  return model;
}

/// Log odds of the given convention over its mirror, both judged by runs and prior together.
double prior_log_odds(const InfluenceModel& given, const InfluenceModel& mirrored) {
  const double own = given.posterior->misfit, other = mirrored.posterior->misfit;
  const int dof = std::max(1, given.posterior->misfit_dof);
  return (other - own) / (2.0 * std::max(1.0, std::min(own, other) / dof));
}

Result<SettledModel> settle_with_prior(const Job& job, const std::vector<std::size_t>& planes,
                                       const Prior& prior) {
  const bool unknown = job.rotor.phase == PhaseConvention::unknown;
  SettledModel settled{unknown ? with_phase_convention(job, PhaseConvention::lag) : job, {}};
  const Job mirrored_job = with_phase_convention(settled.job, settled.job.rotor.phase == PhaseConvention::lag
                                                                  ? PhaseConvention::lead
                                                                  : PhaseConvention::lag);
  auto model = fit_with_prior(settled.job, planes, prior);
  if (!model) return tl::unexpected(model.error());
  auto mirrored = fit_with_prior(mirrored_job, planes, prior);
  if (!mirrored) return tl::unexpected(mirrored.error());
  const double odds = prior_log_odds(*model, *mirrored);
  const bool decided = std::abs(odds) >= std::log(deciding_odds);
  if (unknown && !decided)
    return fail("phase is declared unknown and the runs so far cannot tell lag from lead",
                "\"phase: lag\" or \"phase: lead\" in the rotor file, or a run with another weight");
  settled.model = std::move(*model);
  settled.model.mirror.log_odds = odds;
  if (decided)
    settled.model.mirror.outcome =
        odds > 0.0 ? MirrorTest::Outcome::supports_given : MirrorTest::Outcome::contradicts;
  if (unknown && odds < 0.0) {
    settled.job = mirrored_job;
    settled.model = std::move(*mirrored);
    settled.model.mirror = {MirrorTest::Outcome::supports_given, -odds, {}};
  }
  settled.model.convention_found = unknown;
  return settled;
}

/// Where the job has its own answer: baselines and coefficients with their covariance, when noise is known.
void add_posterior(const Job& job, InfluenceModel& model) {
  auto posterior = influence_posterior(job, model.planes);
  if (!posterior) return;
  model.posterior = std::move(*posterior);
  if (auto belief = influence_posterior(job, model.planes, nullptr, Residual::small))
    model.belief = std::move(*belief);
}

/// The model with the belief's baselines and coefficients, as a job with a small residual has them.
Result<void> take_belief(const Job& job, InfluenceModel& model) {
  if (!model.belief || model.belief->unexplained.size() == 0)
    return fail(
        "a small residual says nothing here",
        "more speeds and sensors than planes, and a known repeatability of every sensor (in the rotor "
        "file, or from repeated runs)");
  take_posterior_rows(job, *model.belief, model);
  model.centre.setZero();
  model.posterior = model.belief;
  model.small_residual = true;
  return {};
}

}  // namespace

Result<SettledModel> settle_and_fit(const Job& job, const std::vector<std::size_t>& planes,
                                    const Prior* prior) {
  if (prior != nullptr) return settle_with_prior(job, planes, *prior);
  const bool unknown = job.rotor.phase == PhaseConvention::unknown;
  SettledModel settled{unknown ? with_phase_convention(job, PhaseConvention::lag) : job, {}};
  auto model = fit_influence(settled.job, planes);
  if (!model) return tl::unexpected(model.error());
  if (unknown && model->mirror.outcome == MirrorTest::Outcome::cannot_tell)
    return fail("phase is declared unknown and these runs cannot tell lag from lead",
                "\"phase: lag\" or \"phase: lead\" in the rotor file, or one more run whose weight lies in a "
                "direction that is not in line with the trial weights so far");
  if (unknown && model->mirror.outcome == MirrorTest::Outcome::contradicts) {
    settled.job = with_phase_convention(settled.job, PhaseConvention::lead);
    model = fit_influence(settled.job, planes);
    if (!model) return tl::unexpected(model.error());
  }
  settled.model = std::move(*model);
  settled.model.convention_found = unknown;
  add_posterior(settled.job, settled.model);
  if (job.small_residual)
    if (const auto taken = take_belief(settled.job, settled.model); !taken)
      return tl::unexpected(taken.error());
  return settled;
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

#include "trimwright/check.hpp"

#include <algorithm>
#include <cmath>

#include "influence/speed_match.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

bool is_left_out(const std::vector<LeftOut>& left_out, std::size_t run, const Reading& reading) {
  return std::any_of(left_out.begin(), left_out.end(), [&](const LeftOut& one) {
    return one.run == run && one.speed == reading.speed && one.sensor == reading.sensor;
  });
}

/// The row of the check run for `row` of the model: its readings' mean; empty when there is none.
std::optional<CheckRow> check_row(const Job& job, const InfluenceModel& model, std::size_t row,
                                  std::size_t run, const std::vector<LeftOut>& left_out) {
  const InfluenceRow& known = model.rows[row];
  if (!known.reading_sd) return std::nullopt;
  CheckRow check;
  check.row = row;
  double weights = 0.0;
  for (const auto& reading : job.runs[run].readings) {
    if (reading.speed != known.speed || reading.sensor != known.sensor || !reading.x) continue;
    if (reading.component != Component::once_per_rev || is_left_out(left_out, run, reading)) continue;
    const double sd = std::max(reading.repeatability.value_or(*known.reading_sd), 1e-12);
    check.read += *reading.x / (sd * sd);
    check.phase_factor = reading.phase_factor;
    check.speed_effect = std::max(check.speed_effect, speed_effect(job, job.runs[run], reading));
    weights += 1.0 / (sd * sd);
  }
  if (weights == 0.0) return std::nullopt;
  check.read /= weights;
  check.reading_sd = 1.0 / std::sqrt(weights);
  return check;
}

/// A plane outside the model whose weights differ in the check run: its effect is not known.
std::string unknown_plane(const Job& job, const InfluenceModel& model, std::size_t run) {
  const auto now = run_unbalance(job, run);
  const auto known = run_unbalance(job, model.runs.used.front());
  for (std::size_t p = 0; p < now.size(); ++p) {
    if (std::find(model.planes.begin(), model.planes.end(), p) != model.planes.end()) continue;
    if (std::abs(now[p] - known[p]) > 1e-9 * (1.0 + std::abs(known[p])))
      return "the weights of plane \"" + job.rotor.planes[p].name +
             "\" changed in this run, and no run before tells how that plane acts";
  }
  return {};
}

/// A reading of a row's regression: its weight in x(U), and the variance of its own beside its repeatability.
struct WeighedReading {
  Phasor weight;
  double variance = 0.0;
};

/// Of each reading on its own, as a share of it: stated for the sensor, or else assumed.
double own_share(const Sensor& sensor, const RunToRun& scatter) {
  return sensor.proportional > 0.0 ? sensor.proportional : scatter.of_reading;
}

std::vector<WeighedReading> weighed_readings(const Job& job, const InfluenceRow& row,
                                             const Eigen::VectorXcd& at, const RunToRun& scatter) {
  const Eigen::RowVectorXcd weights = at.transpose() * row.gain;
  std::vector<WeighedReading> weighed;
  for (const auto& fit : row.fit) {
    double variance = std::pow(own_share(job.rotor.sensors[row.sensor], scatter), 2) * std::norm(fit.fitted);
    for (const auto& reading : job.runs[fit.run].readings)
      if (reading.speed == row.speed && reading.sensor == row.sensor && reading.x == fit.read)
        variance += std::pow(speed_effect(job, job.runs[fit.run], reading), 2);
    weighed.push_back({weights(static_cast<Index>(weighed.size())), variance});
  }
  return weighed;
}

double seating_moment(const Plane& plane, const RunToRun& scatter) {
  double heaviest = 0.0;
  for (const auto& weight : plane.weights) heaviest = std::max(heaviest, weight.moment_g_mm);
  return scatter.seating * heaviest;
}

const Sensor& sensor_of(const Job& job, const InfluenceModel& model, const CheckRow& check) {
  return job.rotor.sensors[model.rows[check.row].sensor];
}

/// Of x(U) of the rows by the model's posterior: half the expected (x - mean)(x - mean)^H, which is per real
/// component.
Eigen::MatrixXcd prediction_covariance(const InfluenceModel& model, const CheckRows& rows,
                                       const Eigen::VectorXcd& unbalance) {
  const auto& known = model.posterior->rows;
  std::vector<Index> at;
  for (const auto& check : rows.rows) {
    const std::pair key{model.rows[check.row].speed, model.rows[check.row].sensor};
    at.push_back(std::find(known.begin(), known.end(), key) - known.begin());
  }
  const Eigen::MatrixXd all = predicted_phasors(*model.posterior, unbalance).covariance;
  const auto n = static_cast<Index>(at.size());
  Eigen::MatrixXcd covariance(n, n);
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) {
      const auto c =
          all.block<2, 2>(2 * at[static_cast<std::size_t>(i)], 2 * at[static_cast<std::size_t>(j)]);
      covariance(i, j) = 0.5 * Phasor(c(0, 0) + c(1, 1), c(1, 0) - c(0, 1));
    }
  return covariance;
}

/// What all readings of a run share and the next run's do not, of the check run alone where that is stated
/// and so part of the posterior, else of two runs, one for all those before.
Eigen::MatrixXcd shared_by_runs(const Job& job, const InfluenceModel& model, const CheckRows& rows,
                                const Eigen::VectorXcd& expected, const RunToRun& scatter) {
  const auto n = static_cast<Index>(rows.rows.size());
  Eigen::MatrixXcd c(n, static_cast<Index>(model.planes.size()));
  Eigen::VectorXcd before(n);
  for (Index i = 0; i < n; ++i) {
    const InfluenceRow& row = model.rows[rows.rows[static_cast<std::size_t>(i)].row];
    c.row(i) = row.coefficients.transpose();
    before(i) = row.fit.empty() ? Phasor(0.0) : row.fit.front().fitted;
  }
  Eigen::VectorXd seating(c.cols());
  for (Index p = 0; p < seating.size(); ++p)
    seating(p) = seating_moment(job.rotor.planes[model.planes[static_cast<std::size_t>(p)]], scatter);
  const Eigen::MatrixXcd assumed =
      2.0 * c * seating.cwiseAbs2().cast<Phasor>().asDiagonal() * c.adjoint() +
      std::pow(scatter.of_run, 2) * (expected * expected.adjoint() + before * before.adjoint());
  Eigen::MatrixXcd shared = Eigen::MatrixXcd::Zero(n, n);
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) {
      const Sensor& one = sensor_of(job, model, rows.rows[static_cast<std::size_t>(i)]);
      const Sensor& other = sensor_of(job, model, rows.rows[static_cast<std::size_t>(j)]);
      if (!one.run_to_run && !other.run_to_run) shared(i, j) = assumed(i, j);
      if (one.run_to_run && &one == &other) shared(i, j) = std::pow(*one.run_to_run, 2);
    }
  return shared;
}

/// As `difference_covariance`, for a model whose rows are the mean of its posterior.
DifferenceCovariance posterior_difference_covariance(const Job& job, const InfluenceModel& model,
                                                     const CheckRows& rows, const Eigen::VectorXcd& unbalance,
                                                     const RunToRun& scatter) {
  const Eigen::VectorXcd expected = expected_readings(model, rows, unbalance);
  Eigen::MatrixXcd covariance = shared_by_runs(job, model, rows, expected, scatter);
  for (Index i = 0; i < expected.size(); ++i) {
    const CheckRow& check = rows.rows[static_cast<std::size_t>(i)];
    covariance(i, i) +=
        std::pow(own_share(sensor_of(job, model, check), scatter), 2) * std::norm(expected(i)) +
        std::pow(check.speed_effect, 2) + std::pow(check.reading_sd, 2);
  }
  return {covariance, prediction_covariance(model, rows, unbalance)};
}

}  // namespace

Eigen::VectorXcd CheckRows::read() const {
  Eigen::VectorXcd all(static_cast<Index>(rows.size()));
  for (Index i = 0; i < all.size(); ++i) all(i) = rows[static_cast<std::size_t>(i)].read;
  return all;
}

CheckRows check_rows(const Job& job, const InfluenceModel& model, std::size_t run,
                     const std::vector<LeftOut>& left_out) {
  CheckRows rows;
  rows.run = run;
  rows.unbalance.resize(static_cast<Index>(model.planes.size()));
  const auto unbalance = run_unbalance(job, run);
  for (std::size_t p = 0; p < model.planes.size(); ++p)
    rows.unbalance(static_cast<Index>(p)) = unbalance[model.planes[p]];
  rows.why_not = unknown_plane(job, model, run);
  if (!rows.why_not.empty()) return rows;
  for (std::size_t row = 0; row < model.rows.size(); ++row)
    if (auto check = check_row(job, model, row, run, left_out)) rows.rows.push_back(*check);
  if (rows.rows.empty())
    rows.why_not =
        "no reading of this run has a phase, a prediction and a known repeatability (\"repeatability\" of "
        "the "
        "sensor)";
  return rows;
}

Eigen::VectorXcd expected_readings(const InfluenceModel& model, const CheckRows& rows,
                                   const Eigen::VectorXcd& unbalance) {
  Eigen::VectorXcd expected(static_cast<Index>(rows.rows.size()));
  for (Index i = 0; i < expected.size(); ++i)
    expected(i) = predict(model.rows[rows.rows[static_cast<std::size_t>(i)].row], unbalance);
  return expected;
}

DifferenceCovariance difference_covariance(const Job& job, const InfluenceModel& model, const CheckRows& rows,
                                           const Eigen::VectorXcd& unbalance, const RunToRun& scatter) {
  if (model.basis != InfluenceModel::Basis::runs || model.rows.front().gain.size() == 0)
    return posterior_difference_covariance(job, model, rows, unbalance, scatter);
  const auto n = static_cast<Index>(rows.rows.size());
  const auto runs = static_cast<Index>(rows.run);  // those before
  const double excess = std::pow(excess_scatter(model), 2);
  Eigen::MatrixXcd shared = Eigen::MatrixXcd::Zero(n, runs + 1);  // weight of each run, the check run last
  Eigen::MatrixXcd levels = Eigen::MatrixXcd::Zero(n, runs + 1);  // the same times what that run reads
  Eigen::MatrixXcd c(n, unbalance.size());
  Eigen::MatrixXcd covariance = Eigen::MatrixXcd::Zero(n, n);
  for (Index i = 0; i < n; ++i) {
    const CheckRow& check = rows.rows[static_cast<std::size_t>(i)];
    const InfluenceRow& row = model.rows[check.row];
    Eigen::VectorXcd at(1 + unbalance.size());
    at << 1.0, unbalance;
    const Phasor expected = predict(row, unbalance);
    c.row(i) = row.coefficients.transpose();
    shared(i, runs) = -1.0;
    levels(i, runs) = -expected;
    double own = std::pow(own_share(job.rotor.sensors[row.sensor], scatter), 2) * std::norm(expected) +
                 std::pow(check.speed_effect, 2);
    double within = std::pow(check.reading_sd, 2);
    const auto weighed = weighed_readings(job, row, at, scatter);
    for (std::size_t k = 0; k < weighed.size(); ++k) {
      const auto run = static_cast<Index>(row.fit[k].run);
      shared(i, run) += weighed[k].weight;
      levels(i, run) += weighed[k].weight * row.fit[k].fitted;
      own += std::norm(weighed[k].weight) * weighed[k].variance;
      within += std::norm(weighed[k].weight) * std::pow(row.fit[k].within_sd, 2);
    }
    covariance(i, i) = own + excess * within;
  }
  Eigen::VectorXd seating(unbalance.size());
  for (Index p = 0; p < seating.size(); ++p)
    seating(p) = seating_moment(job.rotor.planes[model.planes[static_cast<std::size_t>(p)]], scatter);
  const Eigen::MatrixXcd seated = c * seating.cwiseAbs2().cast<Phasor>().asDiagonal() * c.adjoint();
  const Eigen::MatrixXcd weights = shared * shared.adjoint();
  const Eigen::MatrixXcd assumed =
      seated.cwiseProduct(weights) + std::pow(scatter.of_run, 2) * levels * levels.adjoint();
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) {
      const Sensor& one = sensor_of(job, model, rows.rows[static_cast<std::size_t>(i)]);
      const Sensor& other = sensor_of(job, model, rows.rows[static_cast<std::size_t>(j)]);
      if (!one.run_to_run && !other.run_to_run) covariance(i, j) += assumed(i, j);
      if (one.run_to_run && &one == &other) covariance(i, j) += std::pow(*one.run_to_run, 2) * weights(i, j);
    }
  return {covariance, Eigen::MatrixXcd::Zero(n, n)};
}

}  // namespace trimwright

#include "amplitude_model.hpp"

#include <fmt/format.h>

#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <unsupported/Eigen/NonLinearOptimization>

#include "base/linear_algebra.hpp"
#include "mirror_test.hpp"
#include "plane_condition.hpp"
#include "run_matrix.hpp"
#include "runs/stated_sd.hpp"
#include "usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

constexpr std::size_t most_planes = 3;
/// Starts: directions and sizes of every coefficient.
constexpr int start_directions = 8;
constexpr double sizes[] = {0.3, 1.0, 2.0};
/// Solutions closer than this part of the largest amplitude, in what they predict for the runs, are one.
constexpr double same_solution = 1e-4;
/// Where no repeatability is stated.
constexpr double assumed_part = 0.01;
/// No amplitude is more exact than this part of itself.
constexpr double least_part = 1e-9;

/// Amplitudes of one speed and sensor: read, and as a function of (x_1, Re C, Im C, ...).
struct AmplitudeFit {
  using Scalar = double;
  using InputType = Eigen::VectorXd;
  using ValueType = Eigen::VectorXd;
  using JacobianType = Eigen::MatrixXd;
  enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };

  Eigen::MatrixXcd change;  ///< readings x planes: U - U of the first run, scaled to order one
  Eigen::VectorXd read;
  Eigen::VectorXd sd;

  [[nodiscard]] int inputs() const { return static_cast<int>(1 + 2 * change.cols()); }
  [[nodiscard]] int values() const { return static_cast<int>(read.size()); }

  [[nodiscard]] Eigen::VectorXcd vibration(const Eigen::VectorXd& z) const {
    Eigen::VectorXcd coefficients(change.cols());
    for (Index p = 0; p < change.cols(); ++p) coefficients(p) = {z(1 + 2 * p), z(2 + 2 * p)};
    return (change * coefficients).array() + z(0);
  }

  int operator()(const Eigen::VectorXd& z, Eigen::VectorXd& residual) const {
    residual = (vibration(z).cwiseAbs() - read).cwiseQuotient(sd);
    return 0;
  }

  int df(const Eigen::VectorXd& z, Eigen::MatrixXd& jacobian) const {
    const Eigen::VectorXcd x = vibration(z);
    for (Index i = 0; i < x.size(); ++i) {
      const std::complex<double> direction = std::conj(x(i)) / std::max(std::abs(x(i)), 1e-300);
      jacobian(i, 0) = direction.real() / sd(i);
      for (Index p = 0; p < change.cols(); ++p) {
        const std::complex<double> slope = direction * change(i, p);
        jacobian(i, 1 + 2 * p) = slope.real() / sd(i);
        jacobian(i, 2 + 2 * p) = -slope.imag() / sd(i);
      }
    }
    return 0;
  }
};

struct Minimum {
  Eigen::VectorXd z;
  double chi_squared = 0.0;
};

Minimum descend(const AmplitudeFit& fit, Eigen::VectorXd z) {
  AmplitudeFit function = fit;
  Eigen::LevenbergMarquardt<AmplitudeFit> solver(function);
  solver.parameters.maxfev = 400;
  solver.parameters.xtol = solver.parameters.ftol = 1e-14;
  solver.minimize(z);
  if (z(0) < 0.0) z = -z;  // the same amplitudes, with the first vibration's phase zero
  return {z, solver.fvec.squaredNorm()};
}

/// All combinations of direction and size of every plane's coefficient.
std::vector<Eigen::VectorXd> starts(const AmplitudeFit& fit) {
  const double size = fit.read.mean();
  std::vector<Eigen::VectorXd> all{Eigen::VectorXd::Constant(1, fit.read(0))};
  for (Index p = 0; p < fit.change.cols(); ++p) {
    std::vector<Eigen::VectorXd> longer;
    for (const auto& start : all)
      for (int d = 0; d < start_directions; ++d)
        for (const double part : sizes) {
          const Phasor c = std::polar(part * size, 2.0 * std::numbers::pi * (d + 0.5) / start_directions);
          Eigen::VectorXd z(start.size() + 2);
          z << start, c.real(), c.imag();
          longer.push_back(z);
        }
    all = std::move(longer);
  }
  return all;
}

/// Distinct minima within the deciding odds of the best.
std::vector<Minimum> minima(const AmplitudeFit& fit) {
  std::vector<Minimum> all;
  for (const auto& start : starts(fit)) all.push_back(descend(fit, start));
  std::stable_sort(all.begin(), all.end(),
                   [](const Minimum& a, const Minimum& b) { return a.chi_squared < b.chi_squared; });
  const double worst = all.front().chi_squared + 2.0 * std::log(deciding_odds);
  std::vector<Minimum> distinct;
  for (const auto& one : all) {
    if (!(one.chi_squared <= worst)) break;
    const Eigen::VectorXcd x = fit.vibration(one.z);
    const bool known = std::any_of(distinct.begin(), distinct.end(), [&](const Minimum& other) {
      return (fit.vibration(other.z) - x).cwiseAbs().maxCoeff() < same_solution * fit.read.maxCoeff();
    });
    if (!known) distinct.push_back(one);
  }
  return distinct;
}

struct Taken {
  std::size_t run = 0;  ///< entry of RunMatrix::runs
  const Reading* reading = nullptr;
};

std::map<std::pair<std::size_t, std::size_t>, std::vector<Taken>> amplitudes(const Job& job,
                                                                             const RunMatrix& matrix) {
  std::map<std::pair<std::size_t, std::size_t>, std::vector<Taken>> rows;
  for (std::size_t r = 0; r < matrix.runs.size(); ++r)
    for (const auto& reading : job.runs[matrix.runs[r]].readings)
      if (reading.component == Component::once_per_rev)
        rows[{reading.speed, reading.sensor}].push_back({r, &reading});
  return rows;
}

/// One size for all planes, so that a coefficient per scaled moment is of the order of an amplitude.
double moment_scale(const RunMatrix& matrix) { return matrix.scale.maxCoeff(); }

AmplitudeFit fit_of(const Job& job, const RunMatrix& matrix, const std::vector<Taken>& taken) {
  const auto n = static_cast<Index>(taken.size());
  AmplitudeFit fit{Eigen::MatrixXcd(n, matrix.unbalance.cols()), Eigen::VectorXd(n), Eigen::VectorXd(n)};
  for (Index i = 0; i < n; ++i) {
    const auto& one = taken[static_cast<std::size_t>(i)];
    fit.change.row(i) =
        (matrix.unbalance.row(static_cast<Index>(one.run)) - matrix.unbalance.row(0)) / moment_scale(matrix);
    fit.read(i) = one.reading->amplitude;
    const auto& sensor = job.rotor.sensors[one.reading->sensor];
    const double within = stated_sd(job.rotor, *one.reading).value_or(-1.0);
    fit.sd(i) = within < 0.0 ? -1.0
                             : std::hypot(std::hypot(within, sensor.run_to_run.value_or(0.0)),
                                          std::max(sensor.proportional, least_part) * fit.read(i));
  }
  if ((fit.sd.array() < 0.0).any()) fit.sd.setConstant(std::max(assumed_part * fit.read.maxCoeff(), 1e-300));
  return fit;
}

AmplitudeSolution solution_of(const AmplitudeFit& fit, const Minimum& minimum, double scale) {
  Eigen::MatrixXd jacobian(fit.values(), fit.inputs());
  fit.df(minimum.z, jacobian);
  Eigen::VectorXd unscale = Eigen::VectorXd::Constant(fit.inputs(), 1.0 / scale);
  unscale(0) = 1.0;
  AmplitudeSolution solution;
  solution.first = minimum.z(0);
  solution.coefficients.resize(fit.change.cols());
  for (Index p = 0; p < fit.change.cols(); ++p)
    solution.coefficients(p) = Phasor(minimum.z(1 + 2 * p), minimum.z(2 + 2 * p)) / scale;
  solution.chi_squared = minimum.chi_squared;
  const Eigen::MatrixXd inverse = pseudo_inverse(jacobian);
  solution.covariance = unscale.asDiagonal() * (inverse * inverse.transpose()) * unscale.asDiagonal();
  return solution;
}

AmplitudeRow row_of(const Job& job, const RunMatrix& matrix, const std::vector<Taken>& taken) {
  const AmplitudeFit fit = fit_of(job, matrix, taken);
  AmplitudeRow row;
  row.speed = taken.front().reading->speed;
  row.sensor = taken.front().reading->sensor;
  row.readings = fit.values();
  row.reading_sd = stated_sd(job.rotor, *taken.front().reading);
  for (const auto& minimum : minima(fit))
    row.solutions.push_back(solution_of(fit, minimum, moment_scale(matrix)));
  return row;
}

/// Of (X0, C), stacked, for a solution whose first phase is fixed: X0 = first - sum_p C_p U_p1.
Eigen::MatrixXd row_covariance(const AmplitudeSolution& solution, const Eigen::VectorXcd& first_unbalance) {
  const Index planes = solution.coefficients.size();
  Eigen::MatrixXd to_row = Eigen::MatrixXd::Zero(2 + 2 * planes, 1 + 2 * planes);
  to_row(0, 0) = 1.0;
  to_row.bottomRightCorner(2 * planes, 2 * planes).setIdentity();
  for (Index p = 0; p < planes; ++p) {
    to_row.block<2, 2>(0, 1 + 2 * p) = -as_real(first_unbalance(p));
  }
  return to_row * solution.covariance * to_row.transpose();
}

/// Rows one by one: with phases open, nothing tells how a run-to-run change ties them.
InfluencePosterior amplitude_posterior(const Job& job, const AmplitudeModel& model,
                                       const InfluenceModel& influence) {
  InfluencePosterior posterior;
  posterior.planes = influence.planes;
  for (const auto& sensor : job.rotor.sensors)
    posterior.noise.sensors.push_back(
        {{0.0, NoisePart::Source::unknown},
         {sensor.run_to_run.value_or(0.0),
          sensor.run_to_run ? NoisePart::Source::stated : NoisePart::Source::unknown},
         sensor.proportional});
  const auto entries = 2 * (1 + static_cast<Index>(influence.planes.size()));
  const auto n = entries * static_cast<Index>(influence.rows.size());
  posterior.unknowns.mean.resize(n);
  posterior.unknowns.covariance = Eigen::MatrixXd::Zero(n, n);
  Index at = 0;
  for (const auto& one : model.rows) {
    if (one.solutions.size() > 1) continue;
    const auto& row = influence.rows[static_cast<std::size_t>(at / entries)];
    posterior.rows.emplace_back(row.speed, row.sensor);
    posterior.noise.sensors[row.sensor].within = {*one.reading_sd, NoisePart::Source::stated};
    posterior.unknowns.mean.segment<2>(at) << row.baseline.real(), row.baseline.imag();
    for (Index p = 0; p < row.coefficients.size(); ++p)
      posterior.unknowns.mean.segment<2>(at + 2 + 2 * p) << row.coefficients(p).real(),
          row.coefficients(p).imag();
    posterior.unknowns.covariance.block(at, at, entries, entries) =
        row_covariance(one.solutions.front(), model.first_unbalance);
    at += entries;
  }
  return posterior;
}

}  // namespace

Result<AmplitudeModel> fit_amplitudes(const Job& job, const std::vector<std::size_t>& planes) {
  const auto matrix = run_matrix(job, planes);
  if (!matrix) return tl::unexpected(matrix.error());
  if (matrix->planes.size() > most_planes)
    return fail("amplitudes alone are solved for three planes at most", "fewer planes changed in the runs");
  for (const std::size_t r : matrix->runs)
    for (const Event& event : job.runs[r].before)
      if (r > matrix->runs.front() &&
          (event.kind == Event::Kind::baseline_new || event.kind == Event::Kind::sensor_changed))
        return fail("amplitudes alone cannot tell what changed before run \"" + job.runs[r].name + "\"",
                    "runs of one baseline and the same sensors: set the others aside");
  AmplitudeModel model;
  model.planes = matrix->planes;
  model.first_unbalance = matrix->unbalance.row(0).transpose();
  model.centre = matrix->centre;
  model.runs_used = matrix->runs;
  model.rank = matrix->rank;
  model.condition = matrix->condition;
  const std::size_t unknowns = 1 + 2 * model.planes.size();
  for (const auto& [key, taken] : amplitudes(job, *matrix)) {
    if (taken.size() >= unknowns)
      model.rows.push_back(row_of(job, *matrix, taken));
    else
      model.unsettled.push_back(
          {key.first, key.second, fmt::format("{} amplitudes of at least {}", taken.size(), unknowns)});
  }
  if (model.rows.empty())
    return fail("no speed and sensor has enough once-per-rev amplitudes",
                fmt::format("a baseline and at least {} trial runs, three in each plane to be sure",
                            2 * model.planes.size()));
  return model;
}

Result<InfluenceModel> influence_from_amplitudes(const Job& job, const AmplitudeModel& model) {
  InfluenceModel influence;
  influence.convention = PhaseConvention::unknown;
  influence.planes = model.planes;
  influence.centre = model.centre;
  influence.runs.used = model.runs_used;
  influence.unsettled = model.unsettled;
  influence.runs.rank = model.rank;
  influence.runs.condition = model.condition;
  for (const auto& one : model.rows) {
    if (one.solutions.size() > 1) {
      influence.unsettled.push_back(
          {one.speed, one.sensor,
           fmt::format("its amplitudes have {} explanations; more trial runs, their weights well apart in "
                       "angle, leave one",
                       one.solutions.size())});
      continue;
    }
    const auto& solution = one.solutions.front();
    InfluenceRow row;
    row.speed = one.speed;
    row.sensor = one.sensor;
    row.coefficients = solution.coefficients;
    row.baseline = solution.first - (solution.coefficients.transpose() * model.first_unbalance).value();
    row.reading_sd = one.reading_sd;
    row.readings = one.readings;
    row.spare = one.readings - 1 - 2 * static_cast<int>(model.planes.size());
    influence.rows.push_back(std::move(row));
  }
  if (influence.rows.empty()) {
    const auto fewest = std::min_element(
        model.rows.begin(), model.rows.end(),
        [](const auto& a, const auto& b) { return a.solutions.size() < b.solutions.size(); });
    return fail(fmt::format("at every speed and sensor the amplitudes have {} explanations or more",
                            fewest->solutions.size()),
                "a baseline and three trial runs in each plane, their weights well apart in angle (such as "
                "0, 120 and 240 deg)");
  }
  const bool known = std::all_of(influence.rows.begin(), influence.rows.end(),
                                 [](const InfluenceRow& row) { return row.reading_sd.has_value(); });
  if (known) influence.belief = influence.posterior = amplitude_posterior(job, model, influence);
  return influence;
}

Result<SettledModel> settle_by_amplitudes(const Job& job, const std::vector<std::size_t>& planes) {
  const auto amplitudes = fit_amplitudes(job, planes);
  if (!amplitudes) return tl::unexpected(amplitudes.error());
  auto model = influence_from_amplitudes(job, *amplitudes);
  if (!model) return tl::unexpected(model.error());
  const auto matrix = run_matrix(job, planes);
  if (auto act = check_effects(job, *model, matrix->unbalance); !act) return tl::unexpected(act.error());
  SettledModel settled{job, *std::move(model)};
  settled.job.rotor.phase = PhaseConvention::unknown;
  return settled;
}

}  // namespace trimwright

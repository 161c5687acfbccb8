#include "alike_runs.hpp"

#include <algorithm>
#include <cmath>

#include "base/linear_algebra.hpp"
#include "run_matrix.hpp"
#include "runs_fit.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// Orthonormal basis of the columns of `a`, by J. P. Gram's and E. Schmidt's method, each column twice.
MatrixXcd orthonormal(const MatrixXcd& a) {
  MatrixXcd basis(a.rows(), 0);
  for (Index c = 0; c < a.cols(); ++c) {
    VectorXcd left = a.col(c);
    const double size = left.norm();
    if (size == 0.0) continue;
    left /= size;
    for (int twice = 0; twice < 2; ++twice) left -= basis * (basis.adjoint() * left).eval();
    const double own = left.norm();
    if (own <= rank_tolerance) continue;
    basis.conservativeResize(Eigen::NoChange, basis.cols() + 1);
    basis.rightCols<1>() = left / own;
  }
  return basis;
}

bool equal_parts(const MatrixXd& a, const MatrixXd& b) {
  return a.rows() == b.rows() && a.cols() == b.cols() && a == b;
}

/// The group of a run whose readings are `own`, empty yet.
AlikeRuns group_of(const JointSystem& system, const NoiseModel& noise, const SensorRuns& sensor,
                   const std::vector<std::size_t>& own) {
  using Source = NoisePart::Source;
  const SensorNoise& parts = noise.sensors[sensor.sensor];
  const Index n = static_cast<Index>(own.size());
  VectorXd scale(n);
  AlikeRuns group;
  group.fixed = MatrixXd::Zero(n, n);
  for (Index j = 0; j < n; ++j) {
    const JointReading& reading = system.readings[own[static_cast<std::size_t>(j)]];
    scale(j) = reading.scale;
    group.fixed(j, j) = std::pow(parts.proportional * reading.level, 2);
    if (parts.within.source == Source::stated)
      group.fixed(j, j) += std::pow(reading.sd.value_or(parts.within.sd) * reading.scale, 2);
    group.rows.push_back(static_cast<std::size_t>(
        std::lower_bound(sensor.rows.begin(), sensor.rows.end(), reading.row) - sensor.rows.begin()));
  }
  if (parts.run_to_run.source == Source::stated)
    group.fixed += std::pow(parts.run_to_run.sd, 2) * scale * scale.transpose();
  if (sensor.within_open) group.parts.emplace_back(scale.cwiseAbs2().asDiagonal());
  if (sensor.run_to_run_open) group.parts.emplace_back(std::pow(sensor.unit, 2) * scale * scale.transpose());
  return group;
}

/// Sums over an empty group with the widths of a run's design and data.
void make_room(AlikeRuns& group, const std::vector<Index>& from, const std::vector<Index>& width,
               Index columns) {
  for (std::size_t j = 0; j < group.rows.size(); ++j)
    for (Index q = 0; q < width[group.rows[j]]; ++q) {
      group.row_of.push_back(static_cast<Index>(j));
      group.unknowns.push_back(from[group.rows[j]] + q);
    }
  const Index k = static_cast<Index>(group.row_of.size()),
              n = columns * static_cast<Index>(group.rows.size());
  group.design = MatrixXcd::Zero(k, k);
  group.crossed = MatrixXcd::Zero(k, n);
  group.squares = MatrixXd::Zero(n, n);
}

void add_run(AlikeRuns& group, const SensorRuns::Run& run, double times) {
  group.runs += times;
  group.design += times * run.design.conjugate() * run.design.transpose();
  group.crossed += times * run.design.conjugate() * run.data.transpose();
  group.squares += times * (run.data.conjugate() * run.data.transpose()).real();
}

bool settled_without(const AlikeRuns& group, const SensorRuns::Run& run, bool sharing) {
  constexpr double least = 1e-10;  // of the square of a design that is left
  if (sharing) {
    std::vector<Index> all = group.unknowns;
    std::sort(all.begin(), all.end());
    all.erase(std::unique(all.begin(), all.end()), all.end());
    MatrixXcd x = MatrixXcd::Zero(static_cast<Index>(group.rows.size()), static_cast<Index>(all.size()));
    for (std::size_t a = 0; a < group.row_of.size(); ++a)
      x(group.row_of[a], std::lower_bound(all.begin(), all.end(), group.unknowns[a]) - all.begin()) =
          run.design(static_cast<Index>(a));
    const double most = singular_values(x).values(0);
    return most * most < 1.0 - least;
  }
  VectorXd used = VectorXd::Zero(static_cast<Index>(group.rows.size()));
  for (std::size_t a = 0; a < group.row_of.size(); ++a)
    used(group.row_of[a]) += std::norm(run.design(static_cast<Index>(a)));
  return (used.array() < 1.0 - least).all();
}

/// All runs are alike and read every row.
void leave_no_unknown(SensorRuns& sensor) {
  AlikeRuns& all = sensor.groups.front();
  const auto rows = static_cast<Index>(sensor.rows.size());
  all.runs -= static_cast<double>(sensor.fitted / rows);
  all.row_of.clear();
  all.unknowns.clear();
  all.design.resize(0, 0);
  all.crossed.resize(0, all.squares.cols());
  for (auto& run : sensor.runs) {
    const double leverage = run.design.squaredNorm() / static_cast<double>(rows);
    if (run.settled_without) run.data /= std::sqrt(1.0 - leverage);
    run.design.resize(0);
  }
  sensor.unknowns = 0;
}

/// Equations of the readings of rows that share coefficients (some entries of `own`): baselines and shifts of
/// each row, then coefficients.
MatrixXcd set_equations(const JointSystem& system, const MatrixXcd& designs,
                        const std::vector<std::size_t>& own, const std::vector<Index>& readings,
                        const std::vector<std::size_t>& row_of, const std::vector<std::size_t>& rows) {
  const auto planes = static_cast<Index>(system.planes.size()), count = static_cast<Index>(rows.size());
  const Index shifts = designs.cols() - 1 - planes;
  MatrixXcd equations = MatrixXcd::Zero(static_cast<Index>(readings.size()), count * (1 + shifts) + planes);
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const auto reading = static_cast<std::size_t>(readings[i]);
    const auto design = designs.row(static_cast<Index>(system.readings[own[reading]].run));
    const auto at = std::find(rows.begin(), rows.end(), row_of[reading]) - rows.begin();
    auto row = equations.row(static_cast<Index>(i));
    row(at) = design(0);
    row.segment(count, planes) = design.segment(1, planes);
    row.segment(count + planes + at * shifts, shifts) = design.tail(shifts);
  }
  return equations;
}

/// One sensor; `own`: its readings, by run.
SensorRuns runs_of_sensor(const JointSystem& system, const NoiseModel& noise, const MatrixXcd& designs,
                          const std::vector<std::size_t>& own, const std::vector<std::size_t>& events) {
  SensorRuns sensor;
  sensor.sensor = system.readings[own.front()].sensor;
  sensor.readings = static_cast<Index>(own.size());
  for (const std::size_t i : own) sensor.rows.push_back(system.readings[i].row);
  std::sort(sensor.rows.begin(), sensor.rows.end());
  sensor.rows.erase(std::unique(sensor.rows.begin(), sensor.rows.end()), sensor.rows.end());
  // Rows that share coefficients are one set of equations.
  std::vector<std::size_t> set_of(sensor.rows.size());
  std::vector<std::vector<std::size_t>> sets;  // of rows
  for (std::size_t row = 0; row < sensor.rows.size(); ++row) {
    const auto same = std::find_if(sets.begin(), sets.end(), [&](const auto& set) {
      return system.shares[sensor.rows[set.front()]] == system.shares[sensor.rows[row]];
    });
    set_of[row] = static_cast<std::size_t>(same - sets.begin());
    if (same == sets.end()) sets.emplace_back();
    sets[set_of[row]].push_back(row);
  }
  const bool sharing = sets.size() < sensor.rows.size();
  std::vector<std::vector<Index>> by_set(sets.size());
  std::vector<std::size_t> row_of(own.size());
  const Index columns = 1 + static_cast<Index>(events.size());
  MatrixXcd data(sensor.readings, columns);
  bool shares = false;
  for (Index i = 0; i < sensor.readings; ++i) {
    const JointReading& one = system.readings[own[static_cast<std::size_t>(i)]];
    shares = shares || (i > 0 && system.readings[own[static_cast<std::size_t>(i - 1)]].run == one.run);
    std::size_t& row = row_of[static_cast<std::size_t>(i)];
    row = static_cast<std::size_t>(std::lower_bound(sensor.rows.begin(), sensor.rows.end(), one.row) -
                                   sensor.rows.begin());
    by_set[set_of[row]].push_back(i);
    data(i, 0) = one.x;
    for (Index k = 1; k < columns; ++k)
      data(i, k) = one.exponents(static_cast<Index>(events[static_cast<std::size_t>(k - 1)])) * one.x;
    sensor.size += std::norm(one.x);
  }
  const SensorNoise& parts = noise.sensors[sensor.sensor];
  const bool within_stated = parts.within.source == NoisePart::Source::stated;
  sensor.within_open = !within_stated;
  sensor.run_to_run_open = parts.run_to_run.source != NoisePart::Source::stated && (within_stated || shares);
  if (within_stated) sensor.unit = parts.within.sd;

  std::vector<Index> from(sensor.rows.size()), width(sensor.rows.size());
  std::vector<VectorXcd> design(own.size());
  for (std::size_t s = 0; s < sets.size(); ++s) {
    const auto& readings = by_set[s];
    const MatrixXcd basis = orthonormal(set_equations(system, designs, own, readings, row_of, sets[s]));
    MatrixXcd left = data(readings, Eigen::all);
    for (int twice = 0; twice < 2; ++twice) left -= basis * (basis.adjoint() * left).eval();
    data(readings, Eigen::all) = left;
    for (std::size_t i = 0; i < readings.size(); ++i)
      design[static_cast<std::size_t>(readings[i])] = basis.row(static_cast<Index>(i)).transpose();
    for (const std::size_t row : sets[s]) from[row] = sensor.fitted, width[row] = basis.cols();
    sensor.fitted += basis.cols();
  }
  sensor.squares = (data.adjoint() * data).real();

  for (std::size_t i = 0, end = 0; i < own.size(); i = end) {
    SensorRuns::Run run;
    run.run = system.readings[own[i]].run;
    while (end < own.size() && system.readings[own[end]].run == run.run) ++end;
    AlikeRuns group = group_of(
        system, noise, sensor,
        {own.begin() + static_cast<std::ptrdiff_t>(i), own.begin() + static_cast<std::ptrdiff_t>(end)});
    const auto alike = std::find_if(sensor.groups.begin(), sensor.groups.end(), [&](const AlikeRuns& one) {
      return one.rows == group.rows && equal_parts(one.fixed, group.fixed) &&
             std::equal(one.parts.begin(), one.parts.end(), group.parts.begin(), equal_parts);
    });
    run.alike = static_cast<std::size_t>(alike - sensor.groups.begin());
    if (alike == sensor.groups.end()) {
      make_room(group, from, width, columns);
      sensor.groups.push_back(std::move(group));
    }
    AlikeRuns& into = sensor.groups[run.alike];
    run.design.resize(static_cast<Index>(into.row_of.size()));
    Index at = 0;
    for (std::size_t j = i; j < end; ++j) {
      run.design.segment(at, design[j].size()) = design[j];
      at += design[j].size();
    }
    run.data = data.middleRows(static_cast<Index>(i), static_cast<Index>(end - i)).reshaped();
    run.settled_without = settled_without(into, run, sharing);
    add_run(into, run, 1.0);
    sensor.runs.push_back(std::move(run));
  }
  sensor.unknowns = sensor.fitted;
  const auto all_rows = static_cast<Index>(sensor.rows.size());
  if (!sharing && sensor.groups.size() == 1 &&
      static_cast<Index>(sensor.runs.size()) * all_rows == sensor.readings)
    leave_no_unknown(sensor);
  return sensor;
}

}  // namespace

MatrixXd AlikeRuns::covariance(const VectorXd& variances) const {
  MatrixXd sum = fixed;
  for (std::size_t q = 0; q < parts.size(); ++q) sum += variances(static_cast<Index>(q)) * parts[q];
  return sum;
}

std::vector<AlikeRuns> SensorRuns::groups_without(std::size_t i) const {
  std::vector<AlikeRuns> left = groups;
  add_run(left[runs[i].alike], runs[i], -1.0);
  return left;
}

std::vector<SensorRuns> sensor_runs(const JointSystem& system, const NoiseModel& noise) {
  std::vector<std::vector<std::size_t>> own(noise.sensors.size());
  for (std::size_t i = 0; i < system.readings.size(); ++i) own[system.readings[i].sensor].push_back(i);
  const MatrixXcd designs = run_designs(system);
  const auto events = system.open_events();
  std::vector<SensorRuns> sensors;
  for (const auto& readings : own)
    if (!readings.empty()) sensors.push_back(runs_of_sensor(system, noise, designs, readings, events));
  return sensors;
}

}  // namespace trimwright

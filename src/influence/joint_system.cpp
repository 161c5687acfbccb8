#include "joint_system.hpp"

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <algorithm>
#include <limits>
#include <map>

#include "run_matrix.hpp"
#include "usable_reading.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// Per real component, without the run-to-run part.
double reading_variance(const JointReading& reading, const SensorNoise& noise) {
  const double within = reading.sd.value_or(noise.within.sd);
  return within * within + noise.proportional * noise.proportional * std::norm(reading.x);
}

/// Readings of one sensor in one run: what shares a run-to-run change.
using Group = std::vector<std::size_t>;

std::vector<Group> groups_of(const JointSystem& system) {
  std::map<std::pair<std::size_t, std::size_t>, Group> groups;
  for (std::size_t i = 0; i < system.readings.size(); ++i)
    groups[{system.readings[i].run, system.readings[i].sensor}].push_back(i);
  std::vector<Group> list;
  for (auto& [key, group] : groups) list.push_back(std::move(group));
  return list;
}

/// Lower Cholesky factor of a group's covariance per real component.
MatrixXd group_factor(const JointSystem& system, const NoiseModel& noise, const Group& group) {
  const SensorNoise& sensor = noise.sensors[system.readings[group.front()].sensor];
  const Index n = static_cast<Index>(group.size());
  MatrixXd covariance = MatrixXd::Constant(n, n, sensor.run_to_run.sd * sensor.run_to_run.sd);
  for (Index i = 0; i < n; ++i)
    covariance(i, i) += reading_variance(system.readings[group[static_cast<std::size_t>(i)]], sensor);
  return covariance.llt().matrixL();
}

/// Complex equations with unit noise per real component: (design | reading).
MatrixXcd whitened_equations(const JointSystem& system, const NoiseModel& noise) {
  const Index entries = 1 + static_cast<Index>(system.planes.size());
  const Index unknowns = entries * static_cast<Index>(system.rows.size());
  MatrixXcd equations = MatrixXcd::Zero(static_cast<Index>(system.readings.size()), unknowns + 1);
  Index at = 0;
  for (const auto& group : groups_of(system)) {
    const Index n = static_cast<Index>(group.size());
    MatrixXcd block = MatrixXcd::Zero(n, unknowns + 1);
    for (Index i = 0; i < n; ++i) {
      const auto& reading = system.readings[group[static_cast<std::size_t>(i)]];
      block.row(i).segment(static_cast<Index>(reading.row) * entries, entries) = system.design(reading.run);
      block(i, unknowns) = reading.x;
    }
    const MatrixXcd factor = group_factor(system, noise, group).cast<std::complex<double>>();
    equations.middleRows(at, n) = factor.triangularView<Eigen::Lower>().solve(block);
    at += n;
  }
  return equations;
}

/// Complex equations as real ones in the stacked (re, im) of the unknowns, the right side last.
MatrixXd real_equations(const MatrixXcd& equations) {
  const Index n = equations.rows();
  const Index unknowns = equations.cols() - 1;
  MatrixXd real(2 * n, 2 * unknowns + 1);
  for (Index i = 0; i < n; ++i) {
    for (Index k = 0; k < unknowns; ++k) {
      const auto a = equations(i, k);
      real.block<2, 2>(2 * i, 2 * k) << a.real(), -a.imag(), a.imag(), a.real();
    }
    real(2 * i, 2 * unknowns) = equations(i, unknowns).real();
    real(2 * i + 1, 2 * unknowns) = equations(i, unknowns).imag();
  }
  return real;
}

MatrixXd prior_equations(const JointPrior& prior, Index unknowns) {
  const Index m = static_cast<Index>(prior.unknown.size());
  MatrixXd rows = MatrixXd::Zero(2 * m, 2 * unknowns + 1);
  for (Index a = 0; a < m; ++a)
    rows.block<2, 2>(2 * a, 2 * static_cast<Index>(prior.unknown[static_cast<std::size_t>(a)])).setIdentity();
  rows.col(2 * unknowns) = prior.mean;
  const Eigen::LLT<MatrixXd> factor(prior.covariance);
  return factor.matrixL().solve(rows);
}

}  // namespace

Eigen::RowVectorXcd JointSystem::design(std::size_t run) const {
  Eigen::RowVectorXcd row(1 + unbalance.cols());
  row(0) = 1.0;
  row.tail(unbalance.cols()) = unbalance.row(static_cast<Index>(run));
  return row;
}

JointSystem joint_system(const Job& job, const std::vector<std::size_t>& planes) {
  JointSystem system;
  system.planes = planes;
  std::map<std::pair<std::size_t, std::size_t>, std::size_t> rows;
  for (std::size_t r = 0; r < job.runs.size(); ++r) {
    const Run& run = job.runs[r];
    if (run.set_aside) continue;
    system.runs.push_back(r);
    for (const auto& reading : run.readings)
      if (why_not_usable(job, run, reading).empty()) {
        rows.try_emplace({reading.speed, reading.sensor});
        system.readings.push_back(
            {0, system.runs.size() - 1, reading.sensor, *reading.x, stated_sd(job.rotor, reading)});
      }
  }
  for (auto& [key, index] : rows) {
    index = system.rows.size();
    system.rows.push_back(key);
  }
  std::size_t i = 0;
  for (const std::size_t r : system.runs)
    for (const auto& reading : job.runs[r].readings)
      if (why_not_usable(job, job.runs[r], reading).empty())
        system.readings[i++].row = rows[{reading.speed, reading.sensor}];

  system.unbalance.resize(static_cast<Index>(system.runs.size()), static_cast<Index>(planes.size()));
  for (std::size_t r = 0; r < system.runs.size(); ++r) {
    const auto unbalance = run_unbalance(job, system.runs[r]);
    for (std::size_t p = 0; p < planes.size(); ++p)
      system.unbalance(static_cast<Index>(r), static_cast<Index>(p)) = unbalance[planes[p]];
  }
  return system;
}

JointSystem settled_rows(const JointSystem& system, const std::vector<std::vector<bool>>& known) {
  std::vector<std::optional<std::size_t>> kept(system.rows.size());
  JointSystem settled = system;
  settled.rows.clear();
  settled.readings.clear();
  for (std::size_t i = 0; i < system.rows.size(); ++i) {
    std::vector<Index> open{0};
    for (std::size_t p = 0; p < system.planes.size(); ++p)
      if (!known[i][p]) open.push_back(static_cast<Index>(p) + 1);
    std::vector<std::size_t> runs;
    for (const auto& reading : system.readings)
      if (reading.row == i) runs.push_back(reading.run);
    MatrixXcd design(static_cast<Index>(runs.size()), static_cast<Index>(open.size()));
    for (std::size_t r = 0; r < runs.size(); ++r)
      design.row(static_cast<Index>(r)) = system.design(runs[r])(open);
    for (Index c = 1; c < design.cols(); ++c) {
      const double size = design.col(c).norm();
      design.col(c).array() -= design.col(c).mean();
      const double change = design.col(c).norm();
      design.col(c) /= change > rank_tolerance * size ? change : std::numeric_limits<double>::infinity();
    }
    Eigen::ColPivHouseholderQR<MatrixXcd> qr(design);
    qr.setThreshold(rank_tolerance);
    if (qr.rank() < static_cast<Index>(open.size())) continue;
    kept[i] = settled.rows.size();
    settled.rows.push_back(system.rows[i]);
  }
  for (auto reading : system.readings)
    if (kept[reading.row]) {
      reading.row = *kept[reading.row];
      settled.readings.push_back(reading);
    }
  return settled;
}

namespace {

/// Readings and, below them, X0_i + C_i V + Cbar_i dV = 0 within sd_i, dV (one more unknown per plane) free.
MatrixXcd complex_equations(const JointSystem& system, const NoiseModel& noise,
                            const UnexplainedVibration* unexplained) {
  const MatrixXcd readings = whitened_equations(system, noise);
  if (unexplained == nullptr) return readings;
  const Index planes = static_cast<Index>(system.planes.size());
  const Index rows = static_cast<Index>(system.rows.size());
  const Index unknowns = readings.cols() - 1;
  MatrixXcd all = MatrixXcd::Zero(readings.rows() + rows, unknowns + planes + 1);
  all.topLeftCorner(readings.rows(), unknowns) = readings.leftCols(unknowns);
  all.topRightCorner(readings.rows(), 1) = readings.rightCols(1);
  for (Index i = 0; i < rows; ++i) {
    auto row = all.row(readings.rows() + i);
    row(i * (1 + planes)) = 1.0;
    row.segment(i * (1 + planes) + 1, planes) = unexplained->unbalance.transpose();
    row.segment(unknowns, planes) = unexplained->coefficients.row(i);
    row /= unexplained->sd(i);
  }
  return all;
}

}  // namespace

InfluencePosterior solved_system(const JointSystem& system, const NoiseModel& noise, const JointPrior& prior,
                                 UnexplainedVibration* unexplained) {
  const Index planes = static_cast<Index>(system.planes.size());
  const Index entries = 1 + planes;
  const Index rows = static_cast<Index>(system.rows.size());
  const Index asked = rows * entries;
  const Index unknowns = asked + (unexplained ? planes : 0);
  const MatrixXd readings = real_equations(complex_equations(system, noise, unexplained));
  MatrixXd stacked(readings.rows() + 2 * static_cast<Index>(prior.unknown.size()), 2 * unknowns + 1);
  stacked.topRows(readings.rows()) = readings;
  if (!prior.unknown.empty())
    stacked.bottomRows(2 * static_cast<Index>(prior.unknown.size())) = prior_equations(prior, unknowns);

  const Index n = 2 * unknowns;
  const VectorXd scale = stacked.leftCols(n).colwise().norm().cwiseInverse();
  stacked.leftCols(n) *= scale.asDiagonal();
  const Eigen::HouseholderQR<MatrixXd> qr(stacked.leftCols(n));
  const VectorXd rotated = qr.householderQ().transpose() * stacked.col(n);
  const auto triangle = qr.matrixQR().topRows(n).triangularView<Eigen::Upper>();
  MatrixXd root = triangle.solve(MatrixXd::Identity(n, n));
  root = scale.asDiagonal() * root;

  InfluencePosterior posterior;
  posterior.rows = system.rows;
  posterior.planes = system.planes;
  posterior.noise = noise;
  const VectorXd mean = root * rotated.head(n);
  posterior.unknowns.mean = mean.head(2 * asked);
  posterior.unknowns.covariance =
      noise.widened * noise.widened * (root.topRows(2 * asked) * root.topRows(2 * asked).transpose());
  posterior.unknowns.degrees_of_freedom = noise.degrees_of_freedom;
  posterior.misfit = rotated.tail(rotated.size() - n).squaredNorm();
  posterior.misfit_dof = static_cast<int>(rotated.size() - n);
  if (unexplained) {
    const MatrixXd left = readings.bottomRows(2 * rows).leftCols(n);  // in units of sd
    const VectorXd squares = (left * mean).cwiseAbs2() + (left * root).rowwise().squaredNorm();
    unexplained->square.resize(rows);
    for (Index i = 0; i < rows; ++i)
      unexplained->square(i) = squares.segment<2>(2 * i).sum() * unexplained->sd(i) * unexplained->sd(i);
    unexplained->variance.resize(planes);
    for (Index p = 0; p < planes; ++p)
      unexplained->variance(p) = root.middleRows<2>(2 * (asked + p)).squaredNorm();
    for (Index p = 0; p < planes; ++p)
      unexplained->unbalance(p) += Phasor(mean(2 * (asked + p)), mean(2 * (asked + p) + 1));
  }
  return posterior;
}

}  // namespace trimwright

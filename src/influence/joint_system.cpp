#include "joint_system.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "base/linear_algebra.hpp"
#include "events.hpp"
#include "run_matrix.hpp"
#include "usable_reading.hpp"

namespace trimwright {
using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;

MatrixXd readings_covariance(const JointSystem& system, const NoiseModel& noise,
                             const std::vector<std::size_t>& readings) {
  constexpr double rounding = 1e-9;  // of the amplitude: no reading is more exact
  const Index n = static_cast<Index>(readings.size());
  MatrixXd covariance(n, n);
  for (Index i = 0; i < n; ++i) {
    const auto& one = system.readings[readings[static_cast<std::size_t>(i)]];
    const SensorNoise& sensor = noise.sensors[one.sensor];
    for (Index j = 0; j < i; ++j) {
      const auto& other = system.readings[readings[static_cast<std::size_t>(j)]];
      const bool shared = one.run == other.run && one.sensor == other.sensor;
      covariance(i, j) = covariance(j, i) =
          shared ? sensor.run_to_run.sd * sensor.run_to_run.sd * (one.scale * other.scale) : 0.0;
    }
    const double within = one.scale * one.sd.value_or(sensor.within.sd);
    const double shared = one.scale * sensor.run_to_run.sd;
    covariance(i, i) = shared * shared + within * within + std::pow(sensor.proportional * one.level, 2) +
                       std::norm(rounding * one.x) + 1e-300;
  }
  return covariance;
}

Eigen::RowVectorXcd JointSystem::design(std::size_t run) const {
  Eigen::RowVectorXcd row(entries());
  row << 1.0, unbalance.row(static_cast<Index>(run)), shifts.row(static_cast<Index>(run));
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
        system.readings.push_back({0, system.runs.size() - 1, reading.sensor, *reading.x,
                                   stated_sd(job.rotor, reading), std::abs(*reading.x), *reading.x});
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
  add_events(job, system);
  return system;
}

Result<void> check_size(const JointSystem& system, bool together) {
  constexpr std::size_t most_unknowns = 3000;        // their covariance: 300 MB
  constexpr std::size_t most_equations = 6'000'000;  // readings times unknowns, solved at once
  const auto of_row = static_cast<std::size_t>(system.entries());
  const std::size_t unknowns = of_row * system.rows.size();
  if (unknowns > most_unknowns)
    return fail(
        fmt::format("the job is too large: {} places (speed and sensor) with {} unknowns each, a baseline "
                    "and a coefficient of every plane, are {} unknowns",
                    system.rows.size(), of_row, unknowns),
        fmt::format("at most {} in one job: fewer speeds, sensors or planes", most_unknowns));
  if (together && unknowns * system.readings.size() > most_equations)
    return fail(
        fmt::format("the job is too large for a prior, or for an event or a new baseline whose effect the "
                    "runs must tell: {} readings of {} unknowns are solved at once",
                    system.readings.size(), unknowns),
        fmt::format("at most {} readings with as many unknowns; or a job without them",
                    most_equations / std::max<std::size_t>(unknowns, 1)));
  std::map<std::size_t, std::size_t> readings, rows;
  for (const auto& row : system.rows) ++rows[row.second];
  for (const auto& reading : system.readings) ++readings[reading.sensor];
  for (const auto& [sensor, count] : readings)
    if (count * rows[sensor] * of_row > most_equations)
      return fail(
          fmt::format("the job is too large: one sensor has {} readings at {} speeds, of {} unknowns", count,
                      rows[sensor], rows[sensor] * of_row),
          fmt::format("at most {} readings of a sensor at as many speeds: fewer runs, speeds or planes",
                      most_equations / (rows[sensor] * of_row)));
  return {};
}

JointSystem settled_rows(const JointSystem& system, const std::vector<std::vector<bool>>& known) {
  std::vector<std::optional<std::size_t>> kept(system.rows.size());
  JointSystem settled = system;
  settled.rows.clear();
  settled.readings.clear();
  std::vector<std::vector<std::size_t>> runs_of(system.rows.size());
  for (const auto& reading : system.readings) runs_of[reading.row].push_back(reading.run);
  for (std::size_t i = 0; i < system.rows.size(); ++i) {
    std::vector<Index> open{0};
    for (std::size_t p = 0; p < system.planes.size(); ++p)
      if (!known[i][p]) open.push_back(static_cast<Index>(p) + 1);
    const std::vector<std::size_t>& runs = runs_of[i];
    for (Index e = 0; e < system.shifts.cols(); ++e)
      if (std::any_of(runs.begin(), runs.end(),
                      [&](std::size_t r) { return system.shifts(static_cast<Index>(r), e) != 0.0; }))
        open.push_back(1 + static_cast<Index>(system.planes.size()) + e);
    MatrixXcd design(static_cast<Index>(runs.size()), static_cast<Index>(open.size()));
    for (std::size_t r = 0; r < runs.size(); ++r)
      design.row(static_cast<Index>(r)) = system.design(runs[r])(open);
    for (Index c = 1; c < design.cols(); ++c) {
      const double size = design.col(c).norm();
      design.col(c).array() -= design.col(c).mean();
      const double change = design.col(c).norm();
      design.col(c) /= change > rank_tolerance * size ? change : std::numeric_limits<double>::infinity();
    }
    if (rank_of(design, rank_tolerance) < static_cast<Index>(open.size())) continue;
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

}  // namespace trimwright

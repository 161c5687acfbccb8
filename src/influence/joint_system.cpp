#include "joint_system.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "base/linear_algebra.hpp"
#include "events.hpp"
#include "prior_place.hpp"
#include "run_matrix.hpp"
#include "runs/stated_sd.hpp"
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
    system.shares.push_back(sharing_row(job, system.rows, index));
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

namespace {

/// Rows that share coefficients, and the readings of each by run.
struct SharingRows {
  std::vector<std::size_t> rows;
  std::vector<std::vector<std::size_t>> runs;
};

/// Whether readings at `rows` of a set settle their baselines and the coefficients that are not `known`.
bool settles(const JointSystem& system, const SharingRows& set, const std::vector<bool>& known) {
  const auto count = static_cast<Index>(set.rows.size()), planes = static_cast<Index>(known.size());
  std::vector<Index> open;
  for (Index p = 0; p < planes; ++p)
    if (!known[static_cast<std::size_t>(p)]) open.push_back(p + 1);
  Index readings = 0;
  for (const auto& runs : set.runs) readings += static_cast<Index>(runs.size());
  MatrixXcd own = MatrixXcd::Zero(readings, count);  // baselines
  MatrixXcd others =
      MatrixXcd::Zero(readings, static_cast<Index>(open.size()) + count * system.shifts.cols());
  std::vector<Index> used;
  for (Index c = 0; c < static_cast<Index>(open.size()); ++c) used.push_back(c);
  Index from = 0;
  for (Index m = 0; m < count; ++m) {
    const auto& runs = set.runs[static_cast<std::size_t>(m)];
    const auto n = static_cast<Index>(runs.size());
    const Index shifts = static_cast<Index>(open.size()) + m * system.shifts.cols();
    for (Index i = 0; i < n; ++i) {
      const auto design = system.design(runs[static_cast<std::size_t>(i)]);
      own(from + i, m) = 1.0;
      others.row(from + i).head(static_cast<Index>(open.size())) = design(open);
      others.row(from + i).segment(shifts, system.shifts.cols()) = design.tail(system.shifts.cols());
    }
    for (Index e = 0; e < system.shifts.cols(); ++e)
      if (!others.col(shifts + e).isZero(0.0)) used.push_back(shifts + e);
    from += n;
  }
  MatrixXcd design(readings, count + static_cast<Index>(used.size()));
  design << own, others(Eigen::all, used);
  for (Index c = count; c < design.cols(); ++c) {
    const double size = design.col(c).norm();
    for (Index m = 0; m < count; ++m) {
      const Phasor mean = own.col(m).dot(design.col(c)) / own.col(m).squaredNorm();
      design.col(c) -= mean * own.col(m);
    }
    const double change = design.col(c).norm();
    design.col(c) /= change > rank_tolerance * size ? change : std::numeric_limits<double>::infinity();
  }
  return rank_of(design, rank_tolerance) == design.cols();
}

/// Leaves the rows of a set that are settled: all, or those without one that keeps the rest from it.
void leave_settled(const JointSystem& system, SharingRows& set, const std::vector<bool>& known) {
  const std::vector<bool> all_known(known.size(), true);
  for (std::size_t m = 0; m < set.rows.size();) {  // a baseline of its own that nothing since the last tells
    if (settles(system, {{set.rows[m]}, {set.runs[m]}}, all_known)) {
      ++m;
      continue;
    }
    set.rows.erase(set.rows.begin() + static_cast<std::ptrdiff_t>(m));
    set.runs.erase(set.runs.begin() + static_cast<std::ptrdiff_t>(m));
  }
  if (!set.rows.empty() && !settles(system, set, known)) set = {};
}

}  // namespace

JointSystem settled_rows(const JointSystem& system, const std::vector<std::vector<bool>>& known) {
  std::vector<std::vector<std::size_t>> runs_of(system.rows.size());
  for (const auto& reading : system.readings) runs_of[reading.row].push_back(reading.run);
  std::map<std::size_t, SharingRows> sets;
  for (std::size_t i = 0; i < system.rows.size(); ++i) {
    sets[system.shares[i]].rows.push_back(i);
    sets[system.shares[i]].runs.push_back(runs_of[i]);
  }
  std::vector<std::optional<std::size_t>> first_of(system.rows.size());  // row with its coefficients
  for (auto& [first, set] : sets) {
    leave_settled(system, set, known[first]);
    for (const std::size_t row : set.rows) first_of[row] = set.rows.front();
  }
  JointSystem settled = system;
  settled.rows.clear();
  settled.shares.clear();
  settled.readings.clear();
  std::vector<std::size_t> kept(system.rows.size());
  for (std::size_t i = 0; i < system.rows.size(); ++i) {
    if (!first_of[i]) continue;
    kept[i] = settled.rows.size();
    settled.rows.push_back(system.rows[i]);
    settled.shares.push_back(kept[*first_of[i]]);
  }
  for (auto reading : system.readings)
    if (first_of[reading.row]) {
      reading.row = kept[reading.row];
      settled.readings.push_back(reading);
    }
  return settled;
}

}  // namespace trimwright

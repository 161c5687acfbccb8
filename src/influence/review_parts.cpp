#include "review_parts.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "base/chance.hpp"
#include "base/linear_algebra.hpp"
namespace trimwright {
namespace {

using Eigen::Index;

/// Coefficients of some rows over their limits.
Eigen::MatrixXcd over_limits(const Job& job, const std::vector<const InfluenceRow*>& rows, Index planes) {
  Eigen::MatrixXcd c(static_cast<Index>(rows.size()), planes);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const double limit = place_of(job, rows[i]->speed, rows[i]->sensor).limit;
    c.row(static_cast<Index>(i)) = rows[i]->coefficients.transpose() / limit;
  }
  return c;
}

double cosine(const Eigen::MatrixXcd& c, Index p, Index q) {
  const double norms = c.col(p).norm() * c.col(q).norm();
  return norms > 0.0 ? std::abs(c.col(p).dot(c.col(q))) / norms : 0.0;
}

/// The widest range of speeds from the lowest, or to the highest, in which the two act alike at this sensor.
void add_alike(const Job& job, const InfluenceModel& model, const std::vector<const InfluenceRow*>& rows,
               std::pair<Index, Index> planes, InfluenceReview& review) {
  const auto judged = [&](std::size_t from, std::size_t to) {
    const std::vector<const InfluenceRow*> some(rows.begin() + static_cast<std::ptrdiff_t>(from),
                                                rows.begin() + static_cast<std::ptrdiff_t>(to) + 1);
    const auto c = over_limits(job, some, static_cast<Index>(model.planes.size()));
    const double close = cosine(c, planes.first, planes.second);
    if (close < alike_cosine) return false;
    review.alike_planes.push_back({model.planes[static_cast<std::size_t>(planes.first)],
                                   model.planes[static_cast<std::size_t>(planes.second)],
                                   rows.front()->sensor, rows[from]->speed, rows[to]->speed, close});
    return true;
  };
  const std::size_t last = rows.size() - 1;
  if (judged(0, last)) return;
  for (std::size_t to = last - 1; to >= 1; --to)
    if (judged(0, to)) break;
  for (std::size_t from = 1; from < last; ++from)
    if (judged(from, last)) break;
}

}  // namespace

void review_planes(const Job& job, const InfluenceModel& model, InfluenceReview& review) {
  const auto planes = static_cast<Index>(model.planes.size());
  std::vector<const InfluenceRow*> all;
  for (const auto& row : model.rows) all.push_back(&row);
  Eigen::MatrixXcd c = over_limits(job, all, planes);
  for (Index p = 0; p < planes; ++p)
    if (c.col(p).norm() > 0.0) c.col(p).normalize();
  review.singular_values = singular_values(c).values;
  for (std::size_t sensor = 0; sensor < job.rotor.sensors.size(); ++sensor) {
    std::vector<const InfluenceRow*> rows;
    std::copy_if(all.begin(), all.end(), std::back_inserter(rows),
                 [sensor](const InfluenceRow* row) { return row->sensor == sensor; });
    if (rows.size() < 2) continue;
    for (Index p = 0; p < planes; ++p)
      for (Index q = p + 1; q < planes; ++q) add_alike(job, model, rows, {p, q}, review);
  }
}

namespace {

/// Which setting of the weights each run has: what repeats alone say, whatever the rotor does.
std::vector<std::size_t> settings_of(const JointSystem& system) {
  std::vector<Index> first;
  std::vector<std::size_t> settings;
  for (Index r = 0; r < system.unbalance.rows(); ++r) {
    auto same = std::find_if(first.begin(), first.end(), [&](Index f) {
      return system.unbalance.row(f) == system.unbalance.row(r) &&
             system.shifts.row(f) == system.shifts.row(r);
    });
    if (same == first.end()) same = first.insert(first.end(), r);
    settings.push_back(static_cast<std::size_t>(same - first.begin()));
  }
  return settings;
}

}  // namespace

std::optional<LackOfFit> lack_of_fit(const RunsFit& fit) {
  const auto settings = settings_of(fit.system);
  const Eigen::MatrixXcd ones = Eigen::MatrixXcd::Ones(static_cast<Index>(settings.size()), 1);
  double all = 0.0, pure = 0.0;
  int spare = 0;
  LackOfFit test;
  for (const auto& sensor : fit.sensors) {
    all += sensor.misfit;
    spare += 2 * sensor.spare;
    std::map<std::size_t, std::vector<std::size_t>> repeats;  // of a setting: no two share a run
    for (const std::size_t i : sensor.readings) repeats[settings[fit.system.readings[i].run]].push_back(i);
    for (auto& [setting, readings] : repeats) {
      const SensorFit alone = fit_readings(fit.system, fit.noise, std::move(readings), ones);
      pure += alone.misfit;
      test.pure_dof += 2 * alone.spare;
    }
  }
  test.fit_dof = spare - test.pure_dof;
  if (test.pure_dof == 0 || test.fit_dof <= 0 || !(pure > 0.0)) return std::nullopt;
  test.f = std::max(0.0, (all - pure) / test.fit_dof) / (pure / test.pure_dof);
  test.probability = chance_of_quotient(test.f, test.fit_dof, test.pure_dof);
  return test;
}

}  // namespace trimwright

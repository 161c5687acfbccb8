#include "mirror_test.hpp"

#include <algorithm>
#include <cmath>

#include "base/chance.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// Residuals squared over the baselines of their rows, and what rounding alone can leave.
double relative_squares(const RunsFit& fit, const SensorFit& sensor) {
  constexpr double rounding = 1e-9;
  const Index entries = fit.system.entries();
  double sum = rounding * rounding * sensor.spare;
  for (std::size_t i = 0; i < sensor.readings.size(); ++i) {
    const std::size_t row = fit.system.readings[sensor.readings[i]].row;
    const auto at = std::find(sensor.rows.begin(), sensor.rows.end(), row) - sensor.rows.begin();
    const double baseline = std::max(std::abs(sensor.estimate(at * entries)), 1e-300);
    sum += std::norm(sensor.residual(static_cast<Index>(i)) / baseline);
  }
  return sum;
}

double log_odds_of(const RunsFit& given, const RunsFit& mirrored, std::size_t i) {
  const SensorFit& own = given.as_stated[i];
  const SensorFit& other = mirrored.as_stated[i];
  if (own.spare == 0) return 0.0;
  if (!given.is_judged(own))
    return own.spare * std::log(relative_squares(mirrored, other) / relative_squares(given, own));
  const double excess = std::max(1.0, std::min(own.misfit, other.misfit) / (2.0 * own.spare));
  return (own.log_likelihood - other.log_likelihood) / excess;
}

/// Whether residuals are not past all belief.
bool possible(double misfit, int freedom) {
  constexpr double hopeless = 1e-6;
  if (freedom == 0) return true;
  return chance_of_chi_squared(misfit, freedom) >= hopeless;
}

bool fits(const RunsFit& fit) { return possible(fit.judged_misfit(), fit.judged_freedom()); }

bool fits(const RunsFit& fit, const SensorFit& sensor) {
  return !fit.is_judged(sensor) || possible(sensor.misfit, 2 * sensor.spare);
}

}  // namespace

MirrorTest compare_conventions(const RunsFit& given, const RunsFit& mirrored) {
  MirrorTest test;
  if (given.as_stated.size() != mirrored.as_stated.size()) return test;
  const double enough = std::log(deciding_odds);
  for (std::size_t i = 0; i < given.as_stated.size(); ++i) {
    const double odds = log_odds_of(given, mirrored, i);
    test.log_odds += odds;
    if (odds <= -enough && fits(mirrored, mirrored.as_stated[i]))
      test.mirrored_sensors.push_back(given.system.readings[given.as_stated[i].readings.front()].sensor);
  }
  if (test.log_odds >= enough)
    test.outcome = fits(given) ? MirrorTest::Outcome::supports_given : MirrorTest::Outcome::neither_fits;
  if (test.log_odds <= -enough)
    test.outcome = fits(mirrored) ? MirrorTest::Outcome::contradicts : MirrorTest::Outcome::neither_fits;
  if (!test.mirrored_sensors.empty()) test.outcome = MirrorTest::Outcome::contradicts;
  return test;
}

}  // namespace trimwright

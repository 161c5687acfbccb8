#include "trimwright/influence/mirror_test.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <optional>
#include <set>

namespace trimwright {
namespace {

struct Misfit {
  double squares = 0.0;  ///< residuals, each row over its scale
  double floor = 0.0;    ///< what rounding alone can leave
  int spare = 0;
};

/// Residuals of rows with a stated repeatability in units of it; of all rows, over their baseline, without.
Misfit misfit_of(const InfluenceModel& model, bool stated, std::optional<std::size_t> sensor) {
  Misfit misfit;
  for (const auto& row : model.rows) {
    if (sensor && row.sensor != *sensor) continue;
    const double scale = stated ? *row.reading_sd : std::max(std::abs(row.baseline), 1e-300);
    misfit.squares += row.residual_square_sum / (scale * scale);
    misfit.floor += std::norm(1e-9 * row.baseline / scale) * row.spare;
    misfit.spare += row.spare;
  }
  return misfit;
}

double log_odds_of(const Misfit& given, const Misfit& mirrored, bool stated) {
  const double s_given = given.squares + given.floor;
  const double s_mirrored = mirrored.squares + given.floor;
  if (!stated) return given.spare * std::log(s_mirrored / s_given);
  const double excess = std::max(1.0, std::min(s_given, s_mirrored) / (2.0 * given.spare));
  return (s_mirrored - s_given) / (2.0 * excess);
}

/// Probability below which even the better fit is called none.
constexpr double hopeless = 1e-6;

bool fits(const Misfit& misfit) {
  const boost::math::chi_squared distribution(2.0 * misfit.spare);
  return boost::math::cdf(boost::math::complement(distribution, misfit.squares)) >= hopeless;
}

MirrorTest compare(const InfluenceModel& given, const InfluenceModel& mirrored, bool stated,
                   std::optional<std::size_t> sensor) {
  const Misfit g = misfit_of(given, stated, sensor);
  const Misfit m = misfit_of(mirrored, stated, sensor);
  MirrorTest test;
  if (g.spare == 0) return test;
  test.log_odds = log_odds_of(g, m, stated);
  if (std::abs(test.log_odds) < std::log(deciding_odds)) return test;
  const bool for_given = test.log_odds > 0;
  test.outcome = for_given ? MirrorTest::Outcome::supports_given : MirrorTest::Outcome::contradicts;
  if (stated && !fits(for_given ? g : m)) test.outcome = MirrorTest::Outcome::neither_fits;
  return test;
}

}  // namespace

MirrorTest compare_conventions(const InfluenceModel& given, const InfluenceModel& mirrored) {
  const bool stated = std::all_of(given.rows.begin(), given.rows.end(), [](const InfluenceRow& row) {
    return row.reading_sd && !row.sd_is_estimated;
  });
  MirrorTest test = compare(given, mirrored, stated, std::nullopt);
  std::set<std::size_t> sensors;
  for (const auto& row : given.rows) sensors.insert(row.sensor);
  for (const std::size_t sensor : sensors)
    if (compare(given, mirrored, stated, sensor).outcome == MirrorTest::Outcome::contradicts)
      test.mirrored_sensors.push_back(sensor);
  if (!test.mirrored_sensors.empty()) test.outcome = MirrorTest::Outcome::contradicts;
  return test;
}

}  // namespace trimwright

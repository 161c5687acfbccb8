#include "trimwright/influence/mirror_test.hpp"

#include <algorithm>
#include <cmath>

namespace trimwright {
namespace {

struct Misfit {
  double squares = 0.0;  ///< residuals, each row over its scale
  double floor = 0.0;    ///< what rounding alone can leave
  int spare = 0;
};

/// Residuals of rows with a stated repeatability in units of it; of all rows, over their baseline, without.
Misfit misfit_of(const InfluenceModel& model, bool stated) {
  Misfit misfit;
  for (const auto& row : model.rows) {
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

}  // namespace

MirrorTest compare_conventions(const InfluenceModel& given, const InfluenceModel& mirrored) {
  const bool stated = std::all_of(given.rows.begin(), given.rows.end(), [](const InfluenceRow& row) {
    return row.reading_sd && !row.sd_is_estimated;
  });
  const Misfit g = misfit_of(given, stated);
  const Misfit m = misfit_of(mirrored, stated);
  MirrorTest test;
  if (g.spare == 0) return test;
  test.log_odds = log_odds_of(g, m, stated);
  if (std::abs(test.log_odds) < std::log(deciding_odds)) return test;
  test.outcome = test.log_odds > 0 ? MirrorTest::Outcome::supports_given : MirrorTest::Outcome::contradicts;
  return test;
}

}  // namespace trimwright

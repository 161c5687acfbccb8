#include "control_chart.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <limits>

namespace trimwright {
namespace {

/// Above this an estimated scatter is as good as known.
constexpr double known_freedom = 1e6;
/// Below this it is not known at all.
constexpr double no_freedom = 1.0;

}  // namespace

void Cusum::add(double z, double k) {
  up = std::max(0.0, up + z - k);
  down = std::max(0.0, down - z - k);
}

double cusum_run_length(double k, double h, double shift) {
  const double d = shift - k, b = h + 1.166;
  if (std::abs(d) < 1e-6) return b * b;
  return (std::expm1(-2.0 * d * b) + 2.0 * d * b) / (2.0 * d * d);
}

double cusum_limit(double k, double run_length) {
  double low = 0.0, high = 1.0;
  while (cusum_run_length(k, high, 0.0) < run_length) high *= 2.0;
  for (int halved = 0; halved < 60; ++halved) {
    const double middle = 0.5 * (low + high);
    (cusum_run_length(k, middle, 0.0) < run_length ? low : high) = middle;
  }
  return high;
}

double t_squared_limit(int components, double freedom, double chance) {
  const double p = components;
  if (freedom > known_freedom)
    return boost::math::quantile(boost::math::complement(boost::math::chi_squared(p), chance));
  if (freedom < no_freedom) return std::numeric_limits<double>::infinity();
  return p * boost::math::quantile(boost::math::complement(boost::math::fisher_f(p, freedom), chance));
}

double t_squared_chance(double t_squared, int components, double freedom) {
  const double p = components;
  if (freedom > known_freedom)
    return boost::math::cdf(boost::math::complement(boost::math::chi_squared(p), t_squared));
  if (freedom < no_freedom) return 1.0;
  return boost::math::cdf(boost::math::complement(boost::math::fisher_f(p, freedom), t_squared / p));
}

double normal_score(double t, double freedom) {
  if (freedom > known_freedom) return t;
  if (freedom < no_freedom) return 0.0;
  const double beyond =
      boost::math::cdf(boost::math::complement(boost::math::students_t(freedom), std::abs(t)));
  const double z =
      beyond < 1e-300 ? 37.0 : boost::math::quantile(boost::math::complement(boost::math::normal(), beyond));
  return std::copysign(z, t);
}

}  // namespace trimwright

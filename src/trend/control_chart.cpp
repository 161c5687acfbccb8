#include "control_chart.hpp"

#include <algorithm>
#include <cmath>

namespace trimwright {

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

std::complex<double> normal_score(std::complex<double> t, double freedom) {
  const double size = std::abs(t);
  if (size <= 0.0 || freedom <= 0.0) return 0.0;
  return t / size * std::sqrt(freedom * std::log1p(size * size / freedom));
}

double score_limit(double chance) { return std::sqrt(-2.0 * std::log(chance)); }

}  // namespace trimwright

#include "tooth_spacing.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

namespace trimwright {
namespace {

/// Each value minus the mean over the revolution centred on it; the first and last half revolution stay zero.
std::vector<double> less_centred_mean(std::span<const double> values, int teeth) {
  const std::size_t n = values.size(), reach = static_cast<std::size_t>(teeth / 2);
  const bool even = teeth % 2 == 0;
  std::vector<double> sum(n + 1), rest(n);
  for (std::size_t i = 0; i < n; ++i) sum[i + 1] = sum[i] + values[i];
  for (std::size_t i = reach; i + reach < n; ++i) {
    double window = sum[i + reach + 1] - sum[i - reach];
    if (even) window -= 0.5 * (values[i - reach] + values[i + reach]);
    rest[i] = values[i] - window / teeth;
  }
  return rest;
}

}  // namespace

Eigen::ArrayXd deviations_rad(std::span<const double> times_s, std::span<const char> present, int teeth) {
  const std::size_t n = times_s.size(), reach = static_cast<std::size_t>(teeth / 2);
  Eigen::ArrayXd deviations =
      Eigen::ArrayXd::Constant(static_cast<Eigen::Index>(n), std::numeric_limits<double>::quiet_NaN());
  if (n < 4 * reach + 1) return deviations;
  std::vector<double> since_begin(times_s.begin(), times_s.end());
  for (double& time : since_begin) time -= times_s[0];
  const std::vector<double> once = less_centred_mean(since_begin, teeth);
  const std::vector<double> twice = less_centred_mean(std::span(once).subspan(reach, n - 2 * reach), teeth);
  const double turned = 2.0 * std::numbers::pi * static_cast<double>(2 * reach) / teeth;
  for (std::size_t i = 2 * reach; i + 2 * reach < n; ++i) {
    if (present[i] == 0) continue;
    const double span_s = reach > 0 ? times_s[i + reach] - times_s[i - reach] : 0.0;
    deviations[static_cast<Eigen::Index>(i)] = span_s > 0.0 ? twice[i - reach] * turned / span_s : 0.0;
  }
  return deviations;
}

}  // namespace trimwright

#include "trimwright/reference/spacing_errors.hpp"

#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

namespace trimwright {
namespace {

constexpr double most_passages = 2000.0;  ///< remembered per tooth; older ones fade, so that wear shows

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

SpacingErrors::SpacingErrors(int teeth)
    : sum_(Eigen::ArrayXd::Zero(teeth)), weight_(Eigen::ArrayXd::Zero(teeth)) {}

void SpacingErrors::learn(std::span<const double> times_s, std::span<const char> present, int first_place) {
  assert(times_s.size() == present.size());
  const int n = teeth();
  const Eigen::ArrayXd deviations = deviations_rad(times_s, present, n);
  for (Eigen::Index i = 0; i < deviations.size(); ++i) {
    if (!std::isfinite(deviations[i])) continue;
    const auto place = (first_place + i) % n;
    if (weight_[place] >= 2.0) {
      const double off = deviations[i] - sum_[place] / weight_[place];
      squares_ += off * off * weight_[place] / (weight_[place] + 1.0);
      square_weight_ += 1.0;
    }
    sum_[place] += deviations[i];
    weight_[place] += 1.0;
    if (weight_[place] > most_passages) {
      sum_[place] *= 0.5;
      weight_[place] *= 0.5;
    }
  }
}

double SpacingErrors::at(int place) const {
  if (weight_[place] < 1.0 || weight_[0] < 1.0) return 0.0;
  return sum_[place] / weight_[place] - sum_[0] / weight_[0];
}

double SpacingErrors::scatter_rad() const {
  return square_weight_ > 0.0 ? std::sqrt(squares_ / square_weight_) : 0.0;
}

}  // namespace trimwright

#include "place_sizes.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <functional>
#include <limits>
#include <vector>

namespace trimwright {
namespace {

template <class Values>
double trimmed_mean(const Values& values) {
  double sum = 0.0, least = std::numeric_limits<double>::infinity(), most = -least;
  int count = 0;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    sum += value;
    least = std::min(least, value);
    most = std::max(most, value);
    ++count;
  }
  if (count >= 5) return (sum - least - most) / (count - 2);
  if (count >= 3) return (sum - most) / (count - 1);  // a spike makes sizes larger
  return count > 0 ? sum / count : std::numeric_limits<double>::quiet_NaN();
}

double robust_scatter(const FoldedSizes& sizes, const Eigen::ArrayXd& mean) {
  std::vector<double> distances;
  distances.reserve(static_cast<std::size_t>(sizes.size()));
  for (Eigen::Index place = 0; place < sizes.cols(); ++place)
    for (const double size : sizes.col(place))
      if (std::isfinite(size)) distances.push_back(std::abs(size - mean[place]));
  if (distances.empty()) return 0.0;
  const auto middle = distances.begin() + static_cast<std::ptrdiff_t>(distances.size() / 2);
  std::nth_element(distances.begin(), middle, distances.end());
  const double rows = static_cast<double>(sizes.rows());
  return 1.4826 * *middle * std::sqrt(rows / std::max(1.0, rows - 1.0));
}

/// Sum of squared distances from the mean of each place of the fold over `period`.
double unexplained(std::span<const double> sizes, int period) {
  std::vector<double> sum(static_cast<std::size_t>(period)), count(sum.size());
  double squares = 0.0;
  for (std::size_t i = 0; i < sizes.size(); ++i) {
    if (!std::isfinite(sizes[i])) continue;
    const std::size_t place = i % sum.size();
    sum[place] += sizes[i];
    count[place] += 1.0;
    squares += sizes[i] * sizes[i];
  }
  for (std::size_t place = 0; place < sum.size(); ++place)
    if (count[place] > 0.0) squares -= sum[place] * sum[place] / count[place];
  return squares;
}

/// Over several turns of the declared ring: larger in every one of them (it only looks longer, as hum that
/// beats with the turns makes it).
bool repeats_larger(const PlaceSizes& places, int declared) {
  const Eigen::Index period = places.mean.size();
  if (declared < 2 || period <= declared || period % declared != 0) return false;
  Eigen::Index largest = 0;
  places.mean.isFinite().select(places.mean, 0.0).maxCoeff(&largest);
  double others = 0.0;
  for (Eigen::Index at = declared; at < period; at += declared)
    others += places.mean[(largest + at) % period] - 1.0;
  return others / static_cast<double>(period / declared - 1) > 0.5 * (places.mean[largest] - 1.0);
}

}  // namespace

FoldedSizes folded(std::span<const double> sizes, int teeth) {
  const auto n = static_cast<std::ptrdiff_t>(sizes.size());
  assert(teeth > 0 && n % teeth == 0);
  std::vector<double> sum(sizes.size() + 1), count(sizes.size() + 1);
  for (std::size_t i = 0; i < sizes.size(); ++i) {
    const bool present = std::isfinite(sizes[i]);
    sum[i + 1] = sum[i] + (present ? sizes[i] : 0.0);
    count[i + 1] = count[i] + (present ? 1.0 : 0.0);
  }
  FoldedSizes fold(n / teeth, teeth);
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    const auto begin = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(i - teeth / 2, 0, n - teeth));
    const auto end = begin + static_cast<std::size_t>(teeth);
    const double level = (sum[end] - sum[begin]) / (count[end] - count[begin]);
    fold(i / teeth, i % teeth) = sizes[static_cast<std::size_t>(i)] / level;
  }
  return fold;
}

Eigen::ArrayXd mean_sizes(const FoldedSizes& sizes) {
  Eigen::ArrayXd mean(sizes.cols());
  for (Eigen::Index place = 0; place < sizes.cols(); ++place) mean[place] = trimmed_mean(sizes.col(place));
  return mean;
}

PlaceSizes place_sizes(const FoldedSizes& sizes) {
  PlaceSizes places;
  places.mean = mean_sizes(sizes);
  places.scatter = robust_scatter(sizes, places.mean);
  places.revolutions = static_cast<double>(sizes.rows());
  return places;
}

std::optional<Eigen::Index> PlaceSizes::clear_place() const {
  Eigen::ArrayXd ranked = mean.isFinite().select(mean, 0.0);
  Eigen::Index place = 0;
  ranked.maxCoeff(&place);
  std::partial_sort(ranked.begin(), ranked.begin() + 2, ranked.end(), std::greater<>());
  const double largest = ranked[0], second = ranked[1];
  if (!(second > 0.0) || largest < 1.05 * second) return std::nullopt;
  const double lead_sd = std::max(scatter * std::sqrt(2.0 / revolutions), 1e-6 * largest);
  return largest - second >= 6.0 * lead_sd ? std::optional(place) : std::nullopt;
}

std::optional<int> period_shown(std::span<const double> sizes, int longest, int declared) {
  const double n = static_cast<double>(sizes.size());
  const auto criterion_of = [&](int period) {
    const double left = std::max(unexplained(sizes, period), 1e-12 * n);
    return n * std::log(left / n) + period * std::log(n);
  };
  std::optional<int> best;
  double best_criterion = std::numeric_limits<double>::infinity();
  for (int period = 2; period <= longest && 4 * period <= static_cast<int>(sizes.size()); ++period) {
    const double criterion = criterion_of(period);
    if (criterion >= best_criterion) continue;
    const std::size_t whole = sizes.size() - sizes.size() % static_cast<std::size_t>(period);
    const PlaceSizes places = place_sizes(folded(sizes.first(whole), period));
    if (!places.clear_place() || repeats_larger(places, declared)) continue;
    best_criterion = criterion;
    best = period;
  }
  const bool tried = declared > 1 && 4 * declared <= static_cast<int>(sizes.size());
  if (best && tried && declared % *best == 0 && criterion_of(declared) < best_criterion) return declared;
  return best;
}

}  // namespace trimwright

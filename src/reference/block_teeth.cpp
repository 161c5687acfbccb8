#include "block_teeth.hpp"

#include <Eigen/QR>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <tuple>
#include <utility>

namespace trimwright {
namespace {

constexpr double missing = std::numeric_limits<double>::quiet_NaN();
constexpr double whole_turn_rad = 2.0 * std::numbers::pi;

/// Mean of what is there.
double mean_present(const std::vector<double>& values) {
  double sum = 0.0, count = 0.0;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    sum += value;
    count += 1.0;
  }
  return count > 0.0 ? sum / count : 0.0;
}

/// rms distance of each passage from its place's own average deviation [pitches].
double irregularity_of_ring(const Eigen::ArrayXXd& deviations) {
  double squares = 0.0, passages = 0.0, places = 0.0;
  for (const auto& place : deviations.colwise()) {
    double sum = 0.0, count = 0.0;
    for (const double deviation : place) {
      if (!std::isfinite(deviation)) continue;
      sum += deviation;
      squares += deviation * deviation;
      count += 1.0;
    }
    if (count == 0.0) continue;
    squares -= sum * sum / count;
    passages += count;
    places += 1.0;
  }
  return passages > places ? std::sqrt(std::max(0.0, squares) / (passages - places)) : 1.0;
}

Eigen::ArrayXd logs_of(const Eigen::ArrayXd& relative) {
  return (relative > 0.0).select(relative.log(), missing);
}

/// Mean of what is there per place, and the rms distance of single values from it.
std::pair<Eigen::ArrayXd, double> mean_and_scatter(const Eigen::ArrayXXd& values) {
  Eigen::ArrayXd mean = Eigen::ArrayXd::Constant(values.cols(), missing);
  double squares = 0.0, freedom = 0.0;
  for (Eigen::Index place = 0; place < values.cols(); ++place) {
    const Eigen::ArrayXd there = values.col(place).isFinite().cast<double>();
    const Eigen::ArrayXd known = values.col(place).isFinite().select(values.col(place), 0.0);
    const double count = there.sum();
    if (count < 1.0) continue;
    mean[place] = known.sum() / count;
    squares += (there * (known - mean[place]).square()).sum();
    freedom += count - 1.0;
  }
  return {mean, freedom > 0.0 ? std::sqrt(squares / freedom) : 0.0};
}

/// Variance of one place's values about their mean, the largest and the smallest left out.
double inner_variance(const Eigen::ArrayXXd& values, Eigen::Index place) {
  std::vector<double> there;
  for (const double value : values.col(place))
    if (std::isfinite(value)) there.push_back(value);
  if (there.size() < 4) return missing;
  std::sort(there.begin(), there.end());
  const Eigen::Map<const Eigen::ArrayXd> inner(there.data() + 1, static_cast<Eigen::Index>(there.size()) - 2);
  return (inner - inner.mean()).square().mean();
}

/// rms distance of the count of revolutions from a cubic in time [revolutions]: exact for steady
/// acceleration.
double irregularity_of_single_tooth(const BlockTeeth& block) {
  const double span_s = block.times_s.back() - block.times_s.front();
  std::vector<std::array<double, 2>> points;
  for (std::size_t i = 0; i < block.times_s.size(); ++i)
    if (block.present[i] != 0)
      points.push_back({(block.times_s[i] - block.times_s.front()) / span_s, static_cast<double>(i)});
  if (points.size() < 5) return 1.0;
  Eigen::MatrixXd powers(static_cast<Eigen::Index>(points.size()), 4);
  Eigen::VectorXd counts(powers.rows());
  for (Eigen::Index i = 0; i < powers.rows(); ++i) {
    const auto [x, count] = points[static_cast<std::size_t>(i)];
    powers.row(i) << 1.0, x, x * x, x * x * x;
    counts[i] = count;
  }
  const Eigen::VectorXd fitted = powers * powers.colPivHouseholderQr().solve(counts);
  return std::sqrt((counts - fitted).squaredNorm() / static_cast<double>(powers.rows() - 4));
}

}  // namespace

std::vector<double> BlockTeeth::swings() const {
  std::vector<double> sums(before.size());
  std::transform(before.begin(), before.end(), after.begin(), sums.begin(), std::plus<>());
  return sums;
}

BlockTeeth block_teeth(std::span<const CountedTooth> counted, int pitches) {
  const auto n = static_cast<std::size_t>(pitches);
  BlockTeeth block;
  block.times_s.assign(n + 1, missing);
  block.present.assign(n + 1, 0);
  block.before = block.after = block.peak_to_peak = block.width_s = std::vector<double>(n, missing);
  const std::int64_t first = counted.front().count;
  for (std::size_t k = 0; k < counted.size(); ++k) {
    const ToothPulse& pulse = counted[k].pulse;
    const auto i = static_cast<std::size_t>(counted[k].count - first);
    if (k > 0) {  // passages since the one before, this one included
      const ToothPulse& earlier = counted[k - 1].pulse;
      const auto i0 = static_cast<std::size_t>(counted[k - 1].count - first);
      const double pitch = (pulse.time_s - earlier.time_s) / static_cast<double>(i - i0);
      for (std::size_t j = i0 + 1; j <= std::min(i, n); ++j)
        block.times_s[j] = earlier.time_s + pitch * static_cast<double>(j - i0);
    } else {
      block.times_s[0] = pulse.time_s;
    }
    if (i <= n) {
      block.times_s[i] = pulse.time_s;
      block.present[i] = 1;
    }
    if (i >= n) continue;
    block.before[i] = pulse.before;
    block.after[i] = pulse.after;
    block.peak_to_peak[i] = pulse.peak_to_peak;
    block.width_s[i] = pulse.width_s;
  }
  return block;
}

FoldedBlock folded_block(const BlockTeeth& block, int teeth) {
  const std::vector<double> swings = block.swings();
  std::vector<double> widths(swings.size());
  std::transform(swings.begin(), swings.end(), block.peak_to_peak.begin(), widths.begin(), std::divides<>());
  const Eigen::ArrayXd deviations =
      deviations_rad(block.times_s, block.present, teeth) * (teeth / whole_turn_rad);
  const Eigen::Index rows = deviations.size() / teeth;
  return {folded(swings, teeth), folded(block.before, teeth), folded(block.after, teeth),
          folded(widths, teeth), deviations.head(rows * teeth).reshaped<Eigen::RowMajor>(rows, teeth)};
}

RingPicture picture_of(const FoldedBlock& block, Eigen::Index first, Eigen::Index rows) {
  RingPicture picture;
  const Eigen::ArrayXXd size = block.size.middleRows(first, rows);
  const PlaceSizes sizes = place_sizes(size), widths = place_sizes(block.width.middleRows(first, rows));
  picture.size = logs_of(sizes.mean);
  picture.size_scatter = sizes.scatter;
  picture.width = logs_of(widths.mean);
  picture.width_scatter = widths.scatter;
  picture.before = logs_of(mean_sizes(block.before.middleRows(first, rows)));
  picture.after = logs_of(mean_sizes(block.after.middleRows(first, rows)));
  std::tie(picture.spacing, picture.spacing_scatter) =
      mean_and_scatter(block.spacing.middleRows(first, rows));
  picture.pulses = size.isFinite().cast<double>().colwise().sum();
  picture.uneven.resize(size.cols());
  for (Eigen::Index place = 0; place < size.cols(); ++place)
    picture.uneven[place] = inner_variance(size, place);
  picture.revolutions = static_cast<double>(rows);
  return picture;
}

RevolutionBlock measured(const BlockTeeth& block, const FoldedBlock& fold, int teeth) {
  RevolutionBlock result;
  const std::size_t n = block.before.size();
  const double begin = block.times_s.front(), middle = block.times_s[n / 2], end = block.times_s.back();
  result.revolutions = static_cast<double>(n) / teeth;
  result.speed_rpm = 60.0 * result.revolutions / (end - begin);
  const double first_half = 60.0 * static_cast<double>(n / 2) / teeth / (middle - begin);
  const double second_half = 60.0 * static_cast<double>(n - n / 2) / teeth / (end - middle);
  result.speed_change_rpm_per_s = (second_half - first_half) / (0.5 * (end - begin));
  result.dropped = static_cast<int>(std::count(block.present.begin(), block.present.end() - 1, char{0}));
  result.irregularity = teeth == 1 ? irregularity_of_single_tooth(block) : irregularity_of_ring(fold.spacing);
  result.mean_swing = mean_present(block.before) + mean_present(block.after);
  result.mean_peak_to_peak = mean_present(block.peak_to_peak);
  result.width = mean_present(block.width_s) * static_cast<double>(n) / (end - begin);
  return result;
}

ToothTrack track_of(const BlockTeeth& block, int teeth, int first_place, const RingPicture* picture) {
  std::vector<TrackPoint> points;
  for (std::size_t i = 0; i < block.times_s.size(); ++i) {
    const bool edge = i == 0 || i + 1 == block.times_s.size();
    if (block.present[i] == 0 && !edge) continue;
    const int place = first_place + static_cast<int>(i);
    const double spacing =
        picture != nullptr && block.present[i] != 0 ? picture->spacing[place % teeth] : 0.0;
    points.push_back(
        {block.times_s[i], whole_turn_rad / teeth * (place + (std::isfinite(spacing) ? spacing : 0.0))});
  }
  auto track = ToothTrack::through(std::move(points));
  assert(track);
  return *track;
}

}  // namespace trimwright

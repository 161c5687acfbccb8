#include "dwell.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <utility>

#include "base/chance.hpp"
#include "level_fit.hpp"

namespace trimwright {
namespace {

constexpr std::size_t longest_series = 256;  ///< entries; then each stands for twice as many blocks
constexpr double fewest_readings = 5.0;      ///< as six blocks give them

Eigen::Vector2d parts(Phasor x) { return {x.real(), x.imag()}; }

/// Probability of a T^2 this large or larger by chance: two components, `freedom` degrees behind the scatter.
double chance_of(double t_squared, double freedom) {
  if (freedom < 2.0) return 1.0;
  const double f = t_squared * (freedom - 1.0) / (2.0 * freedom);
  if (!std::isfinite(f)) return 0.0;
  return chance_of_quotient(f, 2.0, freedom - 1.0);
}

}  // namespace

void DwellSums::add(const BlockReading& block) {
  all_blocks_ += block.tapered && (empty() || block.span.begin_s >= span_.end_s) ? 2 : 1;
  if (empty()) {
    span_ = block.span;
    speed_first_ = block.speed_rpm;
    channels_.resize(block.channels.size());
  }
  span_.end_s = block.span.end_s;
  const double time_s = 0.5 * (block.span.begin_s + block.span.end_s) - span_.begin_s;
  const double speed = block.speed_rpm - speed_first_;
  all_ += 1.0;
  speed_sum_ += block.speed_rpm;
  speed_squares_ += speed * speed;
  speed_time_ += speed * time_s;
  all_time_ += time_s;
  all_time_squares_ += time_s * time_s;
  for (std::size_t k = 0; k < channels_.size(); ++k) {
    channels_[k].amplitude += std::abs(block.channels[k].value);
    channels_[k].left_over += block.channels[k].left_over * block.channels[k].left_over;
  }
  if (block.verdict == ReferenceVerdict::trusted)
    add_trusted(block, time_s);
  else
    refusal_ = block.verdict;
}

void DwellSums::add_trusted(const BlockReading& block, double time_s) {
  ring_ = block.ring;
  const bool overlaps = block.tapered && trusted_ > 0.0 && block.span.begin_s < trusted_to_s_;
  trusted_blocks_ += block.tapered && !overlaps ? 2 : 1;
  trusted_to_s_ = block.span.end_s;
  if (block.tapered) hop_s_ = 0.5 * (block.span.end_s - block.span.begin_s);
  for (std::size_t k = 0; k < channels_.size(); ++k) {
    ChannelSums& sums = channels_[k];
    const double theta = overlaps ? overlap_theta : 0.0;
    sums.white = (1.0 + theta) * block.channels[k].value - theta * sums.white;
    if (trusted_ == 0.0) sums.first = parts(sums.white);
    const Eigen::Vector2d x = parts(sums.white) - sums.first;
    if (trusted_ > 0.0) sums.neighbours += x.cwiseProduct(sums.last);
    sums.last = x;
    sums.sum += x;
    sums.squares += x * x.transpose();
    sums.time_sum += time_s * x;
    const std::array<Phasor, 3> now{block.channels[k].value, sums.white, block.channels[k].turning};
    for (std::size_t i = 0; i < now.size(); ++i) sums.open[i] += now[i];
  }
  open_s_ += time_s;
  if (++in_open_ == per_entry_) {
    series_s_.push_back(open_s_ / per_entry_);
    for (ChannelSums& sums : channels_) {
      for (std::size_t i = 0; i < sums.open.size(); ++i)
        sums.series[i].push_back(std::exchange(sums.open[i], 0.0) / static_cast<double>(per_entry_));
    }
    open_s_ = 0.0;
    in_open_ = 0;
    if (series_s_.size() == longest_series) halve_series();
  }
  trusted_ += 1.0;
  time_ += time_s;
  time_squares_ += time_s * time_s;
}

void DwellSums::halve_series() {
  const auto paired = [](auto& values) {
    for (std::size_t i = 0; 2 * i + 1 < values.size(); ++i)
      values[i] = 0.5 * (values[2 * i] + values[2 * i + 1]);
    values.resize(values.size() / 2);
  };
  paired(series_s_);
  for (ChannelSums& sums : channels_)
    for (auto& series : sums.series) paired(series);
  per_entry_ *= 2;
}

ChannelReading DwellSums::channel_reading(const ChannelSums& sums, const DwellRules& rules) const {
  ChannelReading reading;
  reading.amplitude = sums.amplitude / all_;
  reading.left_over = std::sqrt(sums.left_over / all_);
  const double n = trusted_;
  if (n < 1.0) return reading;
  const Eigen::Vector2d mean = sums.sum / n;
  reading.value = Phasor(sums.first[0] + mean[0], sums.first[1] + mean[1]);
  if (n < fewest_readings) return reading;
  const Eigen::Matrix2d scatter = sums.squares - n * mean * mean.transpose();
  // Sum of (x_i - m)(x_{i+1} - m), end terms taken as average ones.
  const Eigen::Vector2d shared = sums.neighbours - (n - 1.0) * mean.cwiseProduct(mean);
  const double total = scatter.trace();
  const double rho = total > 0.0 ? std::clamp(shared.sum() / total, -0.9, 0.9) : 0.0;
  const bool correlated = rho > std::sqrt(2.0 / n);  // two components: sd of rho about 1/sqrt(2n)
  reading.repeat_correlation = rho;
  reading.covariance = scatter / (n * (n - 1.0)) * (correlated ? (1.0 + rho) / (1.0 - rho) : 1.0);
  reading.sd = std::sqrt(0.5 * reading.covariance.trace());
  reading.block_sd = std::sqrt(0.5 * total / (n - 1.0));
  // Neighbours of a correlation of 1/6, averaged in entries.
  const double density = hop_s_ > 0.0 ? 4.0 / (4.0 - 1.0 / per_entry_) : 1.0;
  const auto& [series, whitened, turning] = sums.series;
  const LevelFit level = fit_level(series_s_, series, whitened, density);
  if (level.beside != LevelFit::Beside::nothing) {
    reading.value = level.value;
    reading.sd = level.sd;
    reading.covariance = level.sd * level.sd * Eigen::Matrix2d::Identity();
    reading.resonance = level.beside == LevelFit::Beside::band;
    const std::optional<Neighbour> other = reading.resonance ? std::nullopt
                                           : hop_s_ > 0.0
                                               ? neighbour_of(level, series_s_, turning, hop_s_, per_entry_)
                                               : Neighbour{level.line_hz, std::abs(level.line)};
    if (other) {
      reading.other_hz = other->hz;
      reading.other_amplitude = other->amplitude;
    }
  }

  const double time_scatter = time_squares_ - time_ * time_ / n;
  const Eigen::Vector2d together = sums.time_sum - time_ * mean;
  const Eigen::Vector2d slope = together / time_scatter;
  const Eigen::Vector2d change = slope * (span_.end_s - span_.begin_s);
  reading.change = Phasor(change[0], change[1]);
  const double freedom = n - 2.0;
  const Eigen::Matrix2d about_line = (scatter - together * together.transpose() / time_scatter) / freedom +
                                     1e-24 * (1.0 + sums.first.squaredNorm()) * Eigen::Matrix2d::Identity();
  reading.change_chance = chance_of(time_scatter * slope.dot(about_line.inverse() * slope), freedom);
  reading.steady = reading.change_chance > rules.unsteady_chance ||
                   std::abs(reading.change) < rules.negligible_change * std::abs(reading.value);
  return reading;
}

DwellReading DwellSums::reading(const DwellRules& rules) const {
  DwellReading dwell;
  dwell.span = span_;
  dwell.ring = ring_;
  dwell.blocks = trusted_blocks_;
  dwell.refused_blocks = std::max(0, all_blocks_ - trusted_blocks_);
  dwell.refusal = refusal_;
  dwell.phase_trusted = dwell.blocks >= std::max(6, rules.fewest_blocks) && trusted_ >= fewest_readings &&
                        trusted_ >= 0.5 * all_;
  if (empty()) return dwell;
  dwell.speed_rpm = mean_rpm();
  const double above_first = dwell.speed_rpm - speed_first_;
  const double time_scatter = all_time_squares_ - all_time_ * all_time_ / all_;
  if (all_ > 1.0) {
    dwell.speed_sd_rpm =
        std::sqrt(std::max(0.0, speed_squares_ - all_ * above_first * above_first) / (all_ - 1.0));
    dwell.speed_drift_rpm =
        (speed_time_ - all_time_ * above_first) / time_scatter * (span_.end_s - span_.begin_s);
  }
  for (const ChannelSums& sums : channels_) {
    dwell.channels.push_back(channel_reading(sums, rules));
    dwell.steady = dwell.steady && dwell.channels.back().steady;
  }
  return dwell;
}

void settle(DwellReading& dwell, const PhaseTurn& turn) {
  if (turn.verdict != ReferenceVerdict::trusted && dwell.blocks > 0) {
    dwell.refused_blocks += dwell.blocks;
    dwell.blocks = 0;
    dwell.refusal = turn.verdict;
    dwell.phase_trusted = false;
  }
  const Phasor by = std::polar(1.0, turn.turn_rad);
  Eigen::Matrix2d rotation;
  rotation << by.real(), -by.imag(), by.imag(), by.real();
  for (ChannelReading& channel : dwell.channels) {
    channel.value *= by;
    channel.change *= by;
    channel.covariance = rotation * channel.covariance * rotation.transpose();
  }
}

DwellFinder::DwellFinder(const DwellRules& rules, const std::vector<TimeSpan>& given)
    : rules_(rules), given_(given), given_sums_(given.size()) {}

void DwellFinder::add(const BlockReading& block) {
  for (std::size_t i = 0; i < given_.size(); ++i) {
    if (block.span.begin_s < given_[i].begin_s || block.span.end_s > given_[i].end_s) continue;
    auto& sums = given_sums_[i];
    if (sums.empty() || !sums.back().takes(block)) sums.emplace_back();
    sums.back().add(block);
  }
  if (!given_.empty()) return;
  const double travelled = std::abs(block.speed_change_rpm_per_s) * (block.span.end_s - block.span.begin_s) *
                           (block.tapered ? 0.5 : 1.0);  // per block
  const bool sweeping = travelled > rules_.speed_tolerance * block.speed_rpm;
  if (!open_.empty()) {
    const double mean = open_.mean_rpm();
    const bool same_speed = std::abs(block.speed_rpm - mean) <= rules_.speed_tolerance * mean;
    const bool gap = block.span.begin_s - open_.span().end_s > rules_.shortest_s;
    if (sweeping || !same_speed || gap || !open_.takes(block)) close();
  }
  if (!sweeping) open_.add(block);
}

void DwellFinder::close() {
  if (!open_.empty()) {
    const DwellReading dwell = open_.reading(rules_);
    const bool long_enough = dwell.span.end_s - dwell.span.begin_s >= rules_.shortest_s &&
                             dwell.blocks + dwell.refused_blocks >= std::max(6, rules_.fewest_blocks);
    const bool drifting = std::abs(dwell.speed_drift_rpm) > rules_.speed_tolerance * dwell.speed_rpm;
    if (long_enough && !drifting) closed_.push_back(dwell);
  }
  open_ = DwellSums();
}

std::vector<DwellReading> DwellFinder::finish() {
  close();
  std::vector<DwellReading> dwells;
  dwells.swap(closed_);
  for (std::size_t i = 0; i < given_.size(); ++i) {
    DwellReading longest;
    longest.span = given_[i];
    for (const DwellSums& sums : given_sums_[i])
      if (const DwellReading one = sums.reading(rules_);
          longest.channels.empty() || one.blocks > longest.blocks)
        longest = one;
    dwells.push_back(longest);
  }
  return dwells;
}

}  // namespace trimwright

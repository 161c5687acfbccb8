#include "trimwright/reference/reference_health.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trimwright {
namespace {

constexpr int longest_period = 256;          ///< teeth, searched for the larger tooth's return
constexpr std::size_t enough_swings = 1024;  ///< to search in while reading
constexpr int most_searches = 8;
constexpr double blocks_remembered = 10.0;

bool regular(ReferenceVerdict verdict) {
  return verdict != ReferenceVerdict::not_regular && verdict != ReferenceVerdict::too_many_dropped;
}

}  // namespace

bool ReferenceHealth::has(FindingKind kind) const {
  return std::any_of(findings.begin(), findings.end(), [&](const Finding& f) { return f.kind == kind; });
}

int HealthSums::count(ReferenceVerdict verdict) const {
  const auto found = verdicts.find(verdict);
  return found == verdicts.end() ? 0 : found->second;
}

HealthWatch::HealthWatch(const ToothRing& ring, const LargerToothLimits& limits)
    : ring_(ring), limits_(limits) {
  sums_.size = Eigen::ArrayXd::Zero(ring.teeth);
}

void HealthWatch::see(const CountedTooth& tooth) {
  if (count_shown_ || searches_ >= most_searches) return;
  if (tooth.count_lost_before || recent_swings_.size() >= 2 * enough_swings) recent_swings_.clear();
  if (!recent_swings_.empty())
    recent_swings_.insert(recent_swings_.end(), static_cast<std::size_t>(tooth.count - last_count_ - 1),
                          std::numeric_limits<double>::quiet_NaN());
  recent_swings_.push_back(tooth.pulse.swing());
  last_count_ = tooth.count;
}

void HealthWatch::see(const RevolutionBlock& block) {
  ++sums_.blocks;
  ++sums_.verdicts[block.verdict];
  const bool trusted = block.verdict == ReferenceVerdict::trusted;
  if (!trusted && recent_swings_.size() >= enough_swings && !count_shown_ && searches_ < most_searches) {
    ++searches_;
    count_shown_ = period_shown(recent_swings_, longest_period, limits_);
    recent_swings_.clear();
  }
  if (!regular(block.verdict)) return;
  sums_.covered_s += block.track.end_s() - block.track.begin_s();
  const bool first = sums_.regular_blocks == 0.0;
  sums_.regular_blocks += 1.0;
  sums_.swing += block.mean_swing;
  auto& [swing, blocks] =
      sums_.swing_by_speed[static_cast<int>(std::lround(20.0 * block.speed_rpm / ring_.highest_rpm))];
  swing += block.mean_swing;
  blocks += 1.0;
  if (sums_.regular_blocks <= blocks_remembered)
    sums_.first_swing += (block.mean_swing - sums_.first_swing) / sums_.regular_blocks;
  sums_.last_swing +=
      (block.mean_swing - sums_.last_swing) / std::min(sums_.regular_blocks, blocks_remembered);
  sums_.lowest_rpm = first ? block.speed_rpm : std::min(sums_.lowest_rpm, block.speed_rpm);
  sums_.highest_rpm = std::max(sums_.highest_rpm, block.speed_rpm);
  if (!trusted) return;
  sums_.size += block.sizes.isFinite().select(block.sizes, 1.0);
  sums_.over_mean += block.larger.over_mean;
  sums_.over_second += block.larger.over_second;
}

ReferenceHealth HealthWatch::report(const CountTally& tally, const SpacingErrors& spacing,
                                    double duration_s) const {
  ReferenceHealth health;
  health.blocks = sums_.blocks;
  health.trusted_blocks = sums_.count(ReferenceVerdict::trusted);
  const double trusted = std::max(1, health.trusted_blocks);
  health.trusted_part = health.blocks > 0 ? health.trusted_blocks / static_cast<double>(health.blocks) : 0.0;
  health.tally = tally;
  health.larger_over_mean = sums_.over_mean / trusted;
  health.larger_over_second = sums_.over_second / trusted;
  health.size = sums_.size / trusted;
  health.spacing_error_rad.resize(ring_.teeth);
  for (int tooth = 0; tooth < ring_.teeth; ++tooth) health.spacing_error_rad[tooth] = spacing.at(tooth);
  health.passage_scatter_rad = spacing.scatter_rad();
  health.swing = sums_.regular_blocks > 0.0 ? sums_.swing / sums_.regular_blocks : 0.0;
  health.count_shown = count_shown_;
  if (!health.count_shown && health.trusted_part < 0.5)
    health.count_shown = period_shown(recent_swings_, longest_period, limits_);
  health.findings = findings(ring_, sums_, health, spacing, duration_s);
  return health;
}

}  // namespace trimwright

#include "reference_health.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "place_sizes.hpp"

namespace trimwright {
namespace {

constexpr int longest_period = 256;          ///< teeth, searched for the larger tooth's return
constexpr std::size_t enough_swings = 1024;  ///< to search in while reading
constexpr int most_searches = 8;
constexpr double least_gap_s = 0.1, least_gap_revolutions = 4.0;  ///< without teeth, worth telling
constexpr double least_end_s = 1.0;  ///< at the end: the last revolutions fill no block
constexpr double same_speed = 0.05;
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

void HealthWatch::see(const CountedTooth& tooth) {
  if (tooth.count_lost_before && !lost_at_s_) lost_at_s_ = last_sound_s_;
  const double usual = sums_.regular_blocks > 0.0 ? sums_.last_swing : 0.0;
  if (tooth.pulse.swing() > 0.3 * usual && tooth.pulse.swing() < 3.0 * usual)
    last_sound_s_ = tooth.pulse.time_s;
  if (count_shown_ || searches_ >= most_searches) return;
  if (tooth.count_lost_before) recent_swings_.clear();
  if (recent_swings_.size() >= 2 * enough_swings)
    recent_swings_.erase(recent_swings_.begin(),
                         recent_swings_.begin() + static_cast<std::ptrdiff_t>(enough_swings));
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
    count_shown_ = period_shown(recent_swings_, longest_period, ring_.teeth);
    recent_swings_.clear();
  }
  if (!regular(block.verdict)) return;
  note_gap(block);
  sums_.covered_to_s = block.track.end_s();
  speed_before_rpm_ = block.speed_rpm;
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
}

void HealthWatch::note_gap(const RevolutionBlock& block) {
  const double begin_s = std::max(sums_.covered_to_s, lost_at_s_.value_or(sums_.covered_to_s));
  lost_at_s_.reset();
  if (block.track.begin_s() - begin_s < std::max(least_gap_s, 60.0 * least_gap_revolutions / block.speed_rpm))
    return;
  if (sums_.without.size() < most_listed) sums_.without.push_back({begin_s, block.track.begin_s()});
  if (std::abs(block.speed_rpm - speed_before_rpm_) < same_speed * block.speed_rpm)
    sums_.turning_again = true;
}

ReferenceHealth HealthWatch::report(const CountTally& tally, const ReferenceJudgement& reference,
                                    const RingPicture& ring, const RingKnowledge& known,
                                    double duration_s) const {
  ReferenceHealth health;
  health.blocks = sums_.blocks;
  health.reference = reference;
  health.ring = ring;
  if (reference.verdict == ReferenceVerdict::trusted)
    health.trusted_blocks = sums_.count(ReferenceVerdict::trusted);
  health.trusted_part = health.blocks > 0 ? health.trusted_blocks / static_cast<double>(health.blocks) : 0.0;
  health.tally = tally;
  health.passage_scatter_rad = ring.spacing_scatter * 2.0 * std::numbers::pi / ring_.teeth;
  health.swing = sums_.regular_blocks > 0.0 ? sums_.swing / sums_.regular_blocks : 0.0;
  for (const auto& [speed, sum] : sums_.swing_by_speed) {
    const double mean = sum.first / sum.second;
    health.lowest_swing = health.lowest_swing == 0.0 ? mean : std::min(health.lowest_swing, mean);
    health.highest_swing = std::max(health.highest_swing, mean);
  }
  health.without = sums_.without;
  if (sums_.blocks > 0 && duration_s - std::max(sums_.covered_to_s, last_sound_s_) > least_end_s)
    health.without.push_back({std::max(sums_.covered_to_s, last_sound_s_), duration_s});
  health.count_shown = count_shown_;
  if (!health.count_shown && health.trusted_part < 0.5)
    health.count_shown = period_shown(recent_swings_, longest_period, ring_.teeth);
  health.findings = findings(ring_, sums_, health, known, duration_s);
  return health;
}

}  // namespace trimwright

#include "sweep.hpp"

#include <cmath>

namespace trimwright {

void SweepTable::add(const BlockReading& block) {
  if (block.verdict != ReferenceVerdict::trusted) return;
  if (std::abs(block.speed_change_rpm_per_s) < rules_.least_rpm_per_s) return;
  const SpeedTrend trend = block.speed_change_rpm_per_s > 0.0 ? SpeedTrend::run_up : SpeedTrend::run_down;
  SweepPoint& point = sums_[{trend, std::lround(block.speed_rpm / rules_.step_rpm), block.ring}];
  point.trend = trend;
  point.blocks += 1;
  point.speed_rpm += block.speed_rpm;
  point.channels.resize(block.channels.size());
  point.sd.resize(block.channels.size());
  for (std::size_t k = 0; k < block.channels.size(); ++k) {
    point.channels[k] += block.channels[k].value;
    point.sd[k] += block.channels[k].sd * block.channels[k].sd;
  }
}

std::vector<SweepPoint> SweepTable::points(const std::vector<PhaseTurn>& turns) const {
  std::vector<SweepPoint> points;
  for (const auto& [key, sums] : sums_) {
    const PhaseTurn& turn = turns[static_cast<std::size_t>(std::get<int>(key))];
    if (turn.verdict != ReferenceVerdict::trusted) continue;
    SweepPoint point = sums;
    point.speed_rpm /= sums.blocks;
    for (Phasor& value : point.channels) value *= std::polar(1.0, turn.turn_rad);
    for (Phasor& value : point.channels) value /= static_cast<double>(sums.blocks);
    for (double& sd : point.sd) sd = std::sqrt(sd) / sums.blocks;
    points.push_back(point);
  }
  return points;
}

}  // namespace trimwright

#pragma once

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "reference/revolution_block.hpp"
#include "ring_signal.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/reference.hpp"

namespace trimwright::simulated {

/// The ring as it would be declared in a rotor file.
inline ToothRing declared(const RingSignal& signal) {
  return {signal.teeth, signal.rising ? CentreSlope::rising : CentreSlope::falling, 0.04 * signal.full_rpm,
          1.2 * signal.full_rpm, 0.0};
}

/// Blocks of revolutions found in a signal fed in pieces of `piece` samples, and the health report.
struct Followed {
  std::vector<RevolutionBlock> blocks;
  Extraction extraction;

  [[nodiscard]] const PhaseTurn& turn(const RevolutionBlock& block) const {
    return extraction.turns.at(static_cast<std::size_t>(block.ring));
  }
  [[nodiscard]] bool trusts(const RevolutionBlock& block) const {
    return block.verdict == ReferenceVerdict::trusted && turn(block).verdict == ReferenceVerdict::trusted;
  }
  [[nodiscard]] int trusted() const {
    return static_cast<int>(
        std::count_if(blocks.begin(), blocks.end(), [&](const RevolutionBlock& b) { return trusts(b); }));
  }
};

inline Followed follow(const std::vector<float>& signal, const ToothRing& ring, double sample_rate_hz,
                       std::size_t piece = 4096, ExtractionRules rules = {},
                       const std::vector<VibrationChannel>& channels = {},
                       const std::vector<std::vector<float>>& vibration = {}) {
  Followed followed;
  auto extractor = ReadingExtractor::create(ring, sample_rate_hz, channels, rules);
  REQUIRE(extractor);
  const auto keep = [&] {
    const auto latest = extractor->latest_blocks();
    followed.blocks.insert(followed.blocks.end(), latest.begin(), latest.end());
  };
  for (std::size_t begin = 0; begin < signal.size(); begin += piece) {
    const std::size_t length = std::min(piece, signal.size() - begin);
    std::vector<std::span<const float>> parts;
    for (const auto& channel : vibration) parts.push_back(std::span(channel).subspan(begin, length));
    const auto pushed = extractor->push(std::span(signal).subspan(begin, length), parts);
    REQUIRE(pushed);
    keep();
  }
  followed.extraction = extractor->finish();
  keep();
  return followed;
}

inline Followed follow(const RingSignal& signal, double seconds) {
  return follow(signal.samples(seconds), declared(signal), signal.sample_rate_hz);
}

/// Largest error of the shaft angle of trusted blocks, at their middles [deg].
inline double worst_angle_deg(const Followed& followed, const RingSignal& truth) {
  double worst = 0.0;
  for (const RevolutionBlock& block : followed.blocks) {
    if (!followed.trusts(block)) continue;
    const double time = 0.5 * (block.track.begin_s() + block.track.end_s());
    const double angle = block.track.angle_at(time) - followed.turn(block).turn_rad;
    worst = std::max(worst, std::abs(wrap_180(degrees(angle - truth.angle(time)))));
  }
  return worst;
}

}  // namespace trimwright::simulated

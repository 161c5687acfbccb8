// How often the larger tooth is found, wrongly found, or refused, over many simulated segments.
//
//   reference_campaign [SEGMENTS] [SEED]
//
// Ring of 34 teeth, one 15 to 60 % larger, signal-to-noise 20 dB (pulse rms over noise rms at that speed),
// speeds from 5 to 110 %, speed changes up to 10 % of full speed a second, 1 % of the pulses missing. A
// segment is 18 revolutions: two blocks. It is wrong when any trusted block places zero more than a quarter
// pitch off, refused when no block is trusted. With none wrong in n, the true rate is below 3/n with 95 %
// confidence (rule of three; J. A. Hanley and A. Lippman-Hand, JAMA 249, 1983).

#include <fmt/format.h>

#include <array>
#include <cstdlib>
#include <random>

#include "../reference/ring_signal.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/reference.hpp"

using namespace trimwright;
using simulated::RingSignal;

namespace {

constexpr int teeth = 34;
constexpr double revolutions = 18.0;
constexpr double pitch_deg = 360.0 / teeth;

RingSignal drawn(std::mt19937_64& random, double lowest_part, double highest_part) {
  std::uniform_real_distribution<double> uniform;
  RingSignal signal;
  signal.teeth = teeth;
  signal.larger_ratio = 1.15 + 0.45 * uniform(random);
  signal.rpm = (lowest_part + (highest_part - lowest_part) * uniform(random)) * signal.full_rpm;
  signal.rpm_per_s = (0.2 * uniform(random) - 0.1) * signal.full_rpm;
  // The speed stays between 5 and 110 % for the length of the segment.
  const double seconds = revolutions * 60.0 / signal.rpm;
  if (signal.rpm + signal.rpm_per_s * seconds < 0.05 * signal.full_rpm ||
      signal.rpm + signal.rpm_per_s * seconds > 1.10 * signal.full_rpm)
    signal.rpm_per_s = -signal.rpm_per_s;
  signal.start_rad = 2.0 * std::numbers::pi * uniform(random);
  signal.noise_rms_db = -20.0;
  signal.drop_probability = 0.01;
  signal.rising = uniform(random) < 0.5;
  signal.seed = random();
  return signal;
}

/// Time by which the shaft has turned the segment's revolutions.
double duration_s(const RingSignal& signal) {
  double low = 0.0, high = 30.0;
  const double turned = 2.0 * std::numbers::pi * revolutions;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (signal.angle(middle) - signal.start_rad < turned && signal.speed_rpm(middle) > 0.0 ? low : high) =
        middle;
  }
  return high;
}

struct Tally {
  int segments = 0, wrong = 0, refused = 0;
  int blocks = 0, blocks_refused = 0;
};

void run_segment(const RingSignal& signal, Tally& tally) {
  const ToothRing ring{teeth, signal.rising ? CentreSlope::rising : CentreSlope::falling,
                       0.04 * signal.full_rpm, 1.15 * signal.full_rpm, 0.0};
  auto extractor = ReadingExtractor::create(ring, signal.sample_rate_hz, {}, {});
  if (!extractor || !extractor->push(signal.samples(duration_s(signal)), {})) std::abort();
  std::vector<RevolutionBlock> blocks(extractor->latest_blocks().begin(), extractor->latest_blocks().end());
  const Extraction extraction = extractor->finish();
  blocks.insert(blocks.end(), extractor->latest_blocks().begin(), extractor->latest_blocks().end());
  bool wrong = false, trusted = false;
  for (const RevolutionBlock& block : blocks) {
    ++tally.blocks;
    const PhaseTurn& turn = extraction.turns[static_cast<std::size_t>(block.ring)];
    if (block.verdict != ReferenceVerdict::trusted || turn.verdict != ReferenceVerdict::trusted) {
      ++tally.blocks_refused;
      continue;
    }
    trusted = true;
    const double time = 0.5 * (block.track.begin_s() + block.track.end_s());
    const double off_deg = wrap_180(degrees(block.track.angle_at(time) - turn.turn_rad - signal.angle(time)));
    wrong = wrong || std::abs(off_deg) > 0.25 * pitch_deg;
  }
  ++tally.segments;
  tally.wrong += wrong ? 1 : 0;
  tally.refused += trusted ? 0 : 1;
}

void print(const char* range, const Tally& tally) {
  const double n = tally.segments;
  fmt::print("{:>12}  {:6} segments  wrong {} ({}{:.2g} %)  refused {} ({:.3f} %)  blocks refused {:.3f} %\n",
             range, tally.segments, tally.wrong, tally.wrong == 0 ? "below " : "",
             100.0 * (tally.wrong == 0 ? 3.0 / n : tally.wrong / n), tally.refused, 100.0 * tally.refused / n,
             100.0 * tally.blocks_refused / tally.blocks);
}

}  // namespace

int main(int argc, char** argv) {
  const int segments = argc > 1 ? std::atoi(argv[1]) : 30000;
  std::mt19937_64 random(argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 20240917ULL);
  struct Range {
    const char* name;
    double lowest, highest;
  };
  const std::array<Range, 4> ranges{
      {{"5-20 %", 0.05, 0.2}, {"20-50 %", 0.2, 0.5}, {"50-80 %", 0.5, 0.8}, {"80-110 %", 0.8, 1.1}}};
  Tally all;
  for (const Range& range : ranges) {
    Tally tally;
    for (int i = 0; i < segments / 4; ++i) run_segment(drawn(random, range.lowest, range.highest), tally);
    print(range.name, tally);
    all.segments += tally.segments;
    all.wrong += tally.wrong;
    all.refused += tally.refused;
    all.blocks += tally.blocks;
    all.blocks_refused += tally.blocks_refused;
  }
  print("all", all);
  return all.wrong == 0 ? 0 : 1;
}

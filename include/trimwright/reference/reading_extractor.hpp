#pragma once

#include <span>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/reference/channel_check.hpp"
#include "trimwright/reference/dwell.hpp"
#include "trimwright/reference/element_agreement.hpp"
#include "trimwright/reference/reference_health.hpp"
#include "trimwright/reference/revolution_block.hpp"
#include "trimwright/reference/sweep.hpp"
#include "trimwright/reference/tooth_tracker.hpp"

namespace trimwright {

/// One vibration channel and what its chain does to a signal on the way to the recorder.
struct VibrationChannel {
  std::string name;
  double delay_s = 0.0;          ///< the chain is late by this
  double phase_shift_rad = 0.0;  ///< the chain adds this much phase lead, at any frequency
  bool turned_over = false;      ///< the sensor's positive direction is opposite to the declared one
};

struct ExtractionRules {
  BlockRules block;
  int harmonics = 3;  ///< fitted, the first included; 1 to 8
  DwellRules dwell;
  std::vector<TimeSpan> given_dwells;  ///< empty: found automatically
  SweepRules sweep;
  RingKnowledge known;  ///< of the ring, before this recording
};

/// The speed at one time, for a plot.
struct SpeedAt {
  double time_s = 0.0, rpm = 0.0;
};

/// Everything a recording said.
struct Extraction {
  double duration_s = 0.0;
  std::vector<DwellReading> dwells;
  std::vector<SweepPoint> sweep;
  std::vector<SpeedAt> speeds;  ///< at most about a thousand, however long the recording
  ReferenceHealth health;
  std::vector<PhaseTurn> turns;  ///< by `RevolutionBlock::ring`; `dwells` and `sweep` are turned already
  ChannelCondition tooth_channel;
  std::vector<ChannelCondition> channels;  ///< in the order of the vibration channels
};

/// What a recording that is still being made says just now.
struct ReadingNow {
  double time_s = 0.0;                                         ///< of signal received
  double speed_rpm = 0.0;                                      ///< of the last revolutions read
  double without_teeth_s = 0.0;                                ///< since the last revolutions read
  ReferenceVerdict reference = ReferenceVerdict::not_regular;  ///< judged on all so far
  DwellReading dwell;  ///< open, turned to the reference tooth; no channels: speed not steady
};

/// From samples to readings: tooth pulses, their count, blocks of revolutions, a fit per block, dwells and
/// sweeps.
///
/// Memory is bounded by a few blocks of revolutions at the lowest speed, however long the recording.
class ReadingExtractor {
 public:
  /// Errors: those of `ToothTracker::create`, harmonics or block length out of range, too low a sample rate
  /// for the harmonics at the highest speed.
  [[nodiscard]] static Result<ReadingExtractor> create(const ToothRing& ring, double sample_rate_hz,
                                                       std::vector<VibrationChannel> channels,
                                                       const ExtractionRules& rules);

  /// The next samples of the tooth channel and of every vibration channel, all of one length. Errors: another
  /// number of channels, unequal lengths, samples that are not finite numbers.
  [[nodiscard]] Result<void> push(std::span<const float> tooth,
                                  std::span<const std::span<const float>> vibration);
  [[nodiscard]] ReadingNow now() const;
  /// Call once, after the last samples.
  [[nodiscard]] Extraction finish();

  /// The blocks completed by the last `push` or `finish`: for plots, or to compare sensing elements.
  [[nodiscard]] std::span<const RevolutionBlock> latest_blocks() const { return latest_; }

 private:
  ReadingExtractor(ToothTracker tracker, const ToothRing& ring, double sample_rate_hz,
                   std::vector<VibrationChannel> channels, const ExtractionRules& rules);
  [[nodiscard]] Result<void> check_lengths(std::span<const float> tooth,
                                           std::span<const std::span<const float>> vibration) const;
  void follow(std::span<const ToothPulse> pulses, bool last);
  void read(const RevolutionBlock& block);
  void note_speed(const RevolutionBlock& block);
  [[nodiscard]] Phasor corrected(const VibrationChannel& channel, Phasor measured, double speed_rpm) const;
  void forget_what_is_done();

  ToothRing ring_;
  double rate_hz_;
  std::vector<VibrationChannel> channels_;
  ExtractionRules rules_;
  ToothTracker tracker_;
  ToothCount count_;
  RevolutionBlocks blocks_;
  HealthWatch health_;
  DwellFinder dwells_;
  SweepTable sweep_;
  ChannelCheck tooth_check_;
  std::vector<ChannelCheck> checks_;
  std::vector<std::vector<float>> waiting_;  ///< vibration samples that a block may still need
  std::int64_t first_waiting_ = 0;           ///< sample number of the first of them
  std::int64_t received_ = 0;
  std::vector<CountedTooth> counted_;
  std::vector<RevolutionBlock> latest_;
  double read_to_s_ = 0.0, last_rpm_ = 0.0;
  std::vector<SpeedAt> speeds_;
  double next_speed_s_ = 0.0, speed_step_s_ = 0.1;
};

}  // namespace trimwright

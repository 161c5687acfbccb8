#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "flank_finder.hpp"
#include "running_median.hpp"
#include "signal_history.hpp"
#include "tooth_ring.hpp"
#include "trimwright/error.hpp"

namespace trimwright {

/// Fewest samples a tooth pitch must have at the highest speed.
inline constexpr double fewest_samples_per_tooth = 5.0;

/// Times of the tooth centres in the signal of an inductive pickup.
///
/// Each centre is the zero crossing of the signal smoothed over a fifth of a pitch
/// (`SignalHistory::smoothed`), about a baseline that is the mean over the one pitch centred on it: the flux
/// returns to its value from gap to gap, so that mean is the offset and nothing else. Feed blocks of any
/// length; memory is bounded by a few pitches at the lowest speed.
class ToothTracker {
 public:
  /// Errors: a ring or sample rate that makes no sense, fewer than `fewest_samples_per_tooth`.
  [[nodiscard]] static Result<ToothTracker> create(const ToothRing& ring, double sample_rate_hz);

  /// Pulses completed by these samples, in order of time. All are finite (`ChannelCheck`).
  [[nodiscard]] std::vector<ToothPulse> push(std::span<const float> samples);
  /// The pulses still held back.
  [[nodiscard]] std::vector<ToothPulse> finish();

 private:
  ToothTracker(const ToothRing& ring, double sample_rate_hz);
  void start();
  void scan_new();
  void refine(bool all, std::vector<ToothPulse>& pulses);
  struct TurningPoint {
    double place, value;
  };

  [[nodiscard]] TurningPoint turning_point(std::int64_t at) const;
  [[nodiscard]] double width_of(const Flank& flank) const;
  void learn_width(double width_part);
  [[nodiscard]] std::optional<ToothPulse> refined(const Flank& flank, double pitch) const;
  [[nodiscard]] double centre_between(const Flank& flank, double half_width, double baseline_half) const;
  [[nodiscard]] double baseline_half_width(double centre, double pitch) const;

  ToothRing ring_;
  double sample_rate_hz_;
  double longest_pitch_;  ///< samples
  SignalHistory history_;
  std::optional<FlankFinder> finder_;
  std::int64_t scanned_ = 0;
  std::vector<Flank> found_;
  std::deque<Flank> waiting_;
  RunningMedian<5> spacings_;
  double width_part_ = 0.0;  ///< slow average of top-to-bottom time over the pitch
  double widths_seen_ = 0.0;
};

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <vector>
#include "revolution_block.hpp"
#include "synchronous_fit.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

/// What a block of revolutions, or two neighbours together, gave per vibration channel, sensor chains
/// corrected for.
struct BlockReading {
  TimeSpan span;
  double speed_rpm = 0.0;
  double speed_change_rpm_per_s = 0.0;
  ReferenceVerdict verdict = ReferenceVerdict::trusted;  ///< of the phase; amplitudes stand either way
  int ring = 0;          ///< of `RevolutionBlocks::pictures`: phase is from its place 0
  bool tapered = false;  ///< of two blocks with tapered weights: overlaps the reading before by half
  std::vector<FittedPhasor> channels;
};

/// Turns the dwell's phasors to the reference tooth, or takes the phase away.
void settle(DwellReading& dwell, const PhaseTurn& turn);

/// Running sums over the blocks of one dwell; memory does not grow with its length.
class DwellSums {
 public:
  void add(const BlockReading& block);
  [[nodiscard]] bool empty() const { return all_ == 0; }
  /// Whether a block belongs here: no trusted block yet, or of the same ring, or not trusted itself.
  [[nodiscard]] bool takes(const BlockReading& block) const {
    return trusted_ == 0.0 || block.verdict != ReferenceVerdict::trusted || block.ring == ring_;
  }
  [[nodiscard]] double mean_rpm() const { return speed_sum_ / all_; }
  [[nodiscard]] TimeSpan span() const { return span_; }

  /// Steadiness is the straight-line change of (real, imaginary) against time, judged by Hotelling's T^2 with
  /// the scatter about the line (T. W. Anderson, An Introduction to Multivariate Statistical Analysis,
  /// chapters 5 and 8). Correlation of neighbouring blocks (a beat, slow wander) widens `sd` as for a
  /// first-order autoregression when it exceeds two of its own standard deviations (G. E. P. Box and G. M.
  /// Jenkins, Time Series Analysis, section 2.1). A vibration at a neighbouring frequency, or a narrow
  /// resonance, is told apart first (`fit_level`).
  [[nodiscard]] DwellReading reading(const DwellRules& rules) const;

 private:
  struct ChannelSums {
    Eigen::Vector2d first = Eigen::Vector2d::Zero(), last = Eigen::Vector2d::Zero();
    Eigen::Vector2d sum = Eigen::Vector2d::Zero(), time_sum = Eigen::Vector2d::Zero();
    Eigen::Matrix2d squares = Eigen::Matrix2d::Zero();
    Eigen::Vector2d neighbours = Eigen::Vector2d::Zero();
    double amplitude = 0.0, left_over = 0.0;
    Phasor white;  ///< the last value, whitened (`overlap_theta`)
    /// Means of `per_entry_` values, values whitened, turnings; and sums of those being filled.
    std::array<std::vector<Phasor>, 3> series;
    std::array<Phasor, 3> open{};
  };

  void halve_series();
  void add_trusted(const BlockReading& block, double time_s);
  [[nodiscard]] ChannelReading channel_reading(const ChannelSums& sums, const DwellRules& rules) const;

  TimeSpan span_;
  int ring_ = 0;
  double all_ = 0.0, trusted_ = 0.0;  ///< readings
  int all_blocks_ = 0, trusted_blocks_ = 0;
  double trusted_to_s_ = 0.0, hop_s_ = 0.0;  ///< hop: between readings that overlap
  double speed_first_ = 0.0, speed_sum_ = 0.0, speed_squares_ = 0.0, speed_time_ = 0.0;
  double all_time_ = 0.0, all_time_squares_ = 0.0;
  double time_ = 0.0, time_squares_ = 0.0;
  ReferenceVerdict refusal_ = ReferenceVerdict::trusted;
  std::vector<ChannelSums> channels_;
  std::vector<double> series_s_;  ///< middle time of each entry
  double open_s_ = 0.0;
  int per_entry_ = 1, in_open_ = 0;
};

/// Finds dwells in a stream of blocks, or fills those given.
class DwellFinder {
 public:
  /// With no `given` spans, dwells are found: the longest stretches in which the speed stays within tolerance
  /// of its own mean and does not drift through it.
  DwellFinder(const DwellRules& rules, const std::vector<TimeSpan>& given);

  void add(const BlockReading& block);
  /// The dwell that is not over yet, as it stands; no channels when the speed is not steady.
  [[nodiscard]] DwellReading so_far() const { return open_.reading(rules_); }
  /// All dwells, in order. Given spans are all listed, with zero blocks where nothing could be read.
  [[nodiscard]] std::vector<DwellReading> finish();

 private:
  void close();

  DwellRules rules_;
  std::vector<TimeSpan> given_;
  std::vector<std::vector<DwellSums>> given_sums_;  ///< per given span, one for each ring seen in it
  DwellSums open_;
  std::vector<DwellReading> closed_;
};

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "trimwright/reference/revolution_block.hpp"

namespace trimwright {

enum class FindingKind {
  no_pulses,           ///< the tooth channel never showed a tooth
  stopped_in_between,  ///< no turning shaft for part of the recording
  pulses_irregular,
  speed_out_of_range,
  wrong_tooth_count,  ///< the larger tooth returns after another number of teeth than declared
  no_larger_tooth,
  larger_tooth_moved,  ///< found in another place within an unbroken count
  larger_tooth_weak,   ///< found, but little larger than the next
  polarity_reversed,
  dropped_pulses,
  extra_pulses,
  count_lost,
  tooth_out_of_place,        ///< one tooth's spacing error stands out
  tooth_of_odd_size,         ///< one tooth, not the reference, gives a smaller or larger pulse
  swing_changes_with_speed,  ///< flux swing, which speed does not change of itself
  swing_changes_with_time,
  elements_disagree
};

enum class Gravity {
  note,     ///< worth knowing
  caution,  ///< look before relying on it
  refusal   ///< phase is withheld
};

/// One thing found out about the reference.
struct Finding {
  FindingKind kind = FindingKind::no_pulses;
  Gravity gravity = Gravity::note;
  double value = 0.0;        ///< see `what` for its meaning and unit
  std::optional<int> tooth;  ///< counted from the reference tooth (0) in order of passing
  std::string what;          ///< one sentence with the figure
  std::string likely_cause;
  std::string look_at;  ///< defers to the maker's manual
};

/// Everything one tooth channel said about itself.
struct ReferenceHealth {
  int blocks = 0;          ///< blocks of revolutions seen
  int trusted_blocks = 0;  ///< blocks whose phase may be used
  double trusted_part = 0.0;
  CountTally tally;
  double larger_over_mean = 0.0;     ///< size of the larger tooth over the mean of the others
  double larger_over_second = 0.0;   ///< over the next largest
  Eigen::ArrayXd spacing_error_rad;  ///< per tooth from the reference tooth
  Eigen::ArrayXd size;               ///< per tooth, relative
  double passage_scatter_rad = 0.0;  ///< standard deviation of one passage: noise and jitter
  double swing = 0.0;                ///< mean flux swing per tooth [unit s]
  std::optional<int> count_shown;    ///< teeth between larger pulses, when searched for and found
  std::vector<Finding> findings;     ///< gravest first

  [[nodiscard]] bool has(FindingKind kind) const;
};

/// What the blocks of a recording add up to, for the findings.
struct HealthSums {
  std::map<ReferenceVerdict, int> verdicts;  ///< blocks
  int blocks = 0;
  double covered_s = 0.0;                     ///< in blocks of regular pulses
  Eigen::ArrayXd size;                        ///< sum over trusted blocks, per tooth from the reference tooth
  double over_mean = 0.0, over_second = 0.0;  ///< sums over trusted blocks
  double swing = 0.0, regular_blocks = 0.0;
  std::map<int, std::pair<double, double>>
      swing_by_speed;                          ///< key: twentieth of the highest speed; sum, blocks
  double first_swing = 0.0, last_swing = 0.0;  ///< of the first and last ten regular blocks, means
  double lowest_rpm = 0.0, highest_rpm = 0.0;  ///< of regular blocks

  [[nodiscard]] int count(ReferenceVerdict verdict) const;
};

/// Gathers evidence on the reference while a recording is read; bounded memory.
class HealthWatch {
 public:
  HealthWatch(const ToothRing& ring, const LargerToothLimits& limits);

  void see(const CountedTooth& tooth);
  void see(const RevolutionBlock& block);
  /// `duration_s`: length of the recording.
  [[nodiscard]] ReferenceHealth report(const CountTally& tally, const SpacingErrors& spacing,
                                       double duration_s) const;

 private:
  ToothRing ring_;
  LargerToothLimits limits_;
  HealthSums sums_;
  std::vector<double> recent_swings_;  ///< of consecutive teeth, NaN where missing
  std::int64_t last_count_ = 0;
  std::optional<int> count_shown_;
  int searches_ = 0;
};

/// The findings that `sums` and the rest of `health` support, gravest first.
[[nodiscard]] std::vector<Finding> findings(const ToothRing& ring, const HealthSums& sums,
                                            const ReferenceHealth& health, const SpacingErrors& spacing,
                                            double duration_s);

}  // namespace trimwright

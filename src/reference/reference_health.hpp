#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>
#include "revolution_block.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

/// What the blocks of a recording add up to, for the findings.
struct HealthSums {
  std::map<ReferenceVerdict, int> verdicts;  ///< blocks
  int blocks = 0;
  std::vector<TimeSpan> without;               ///< no turning teeth
  bool turning_again = false;                  ///< after one of those at nearly the same speed
  double covered_s = 0.0, covered_to_s = 0.0;  ///< in blocks of regular pulses; end of the last
  double swing = 0.0, regular_blocks = 0.0;
  std::map<int, std::pair<double, double>>
      swing_by_speed;                          ///< key: twentieth of the highest speed; sum, blocks
  double first_swing = 0.0, last_swing = 0.0;  ///< of the first and last ten regular blocks, means
  double lowest_rpm = 0.0, highest_rpm = 0.0;  ///< of regular blocks

  [[nodiscard]] int count(ReferenceVerdict verdict) const;
};

inline constexpr std::size_t most_listed = 12;

/// Gathers evidence on the reference while a recording is read; bounded memory.
class HealthWatch {
 public:
  explicit HealthWatch(const ToothRing& ring) : ring_(ring) {}

  void see(const CountedTooth& tooth);
  void see(const RevolutionBlock& block);
  /// `duration_s`: length of the recording.
  [[nodiscard]] ReferenceHealth report(const CountTally& tally, const ReferenceJudgement& reference,
                                       const RingPicture& ring, const RingKnowledge& known,
                                       double duration_s) const;

 private:
  void note_gap(const RevolutionBlock& block);

  ToothRing ring_;
  HealthSums sums_;
  std::vector<double> recent_swings_;  ///< of consecutive teeth, NaN where missing
  std::int64_t last_count_ = 0;
  std::optional<int> count_shown_;
  int searches_ = 0;
  double last_sound_s_ = 0.0;  ///< the last pulse of the usual size
  std::optional<double> lost_at_s_;
  double speed_before_rpm_ = 0.0;
};

/// The findings that `sums` and the rest of `health` support, gravest first.
[[nodiscard]] std::vector<Finding> findings(const ToothRing& ring, const HealthSums& sums,
                                            const ReferenceHealth& health, const RingKnowledge& known,
                                            double duration_s);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "trimwright/reference/larger_tooth.hpp"
#include "trimwright/reference/revolution_block.hpp"

namespace trimwright {

enum class FindingKind {
  no_pulses,           ///< the tooth channel never showed a tooth
  stopped_in_between,  ///< no turning shaft for part of the recording
  signal_lost,         ///< none for a while, the speed being the same before and after
  pulses_irregular,
  speed_out_of_range,
  wrong_tooth_count,  ///< the larger tooth returns after another number of teeth than declared
  no_larger_tooth,
  larger_tooth_moved,  ///< found in another place within an unbroken count
  larger_tooth_weak,   ///< found, but little larger than the next
  larger_not_alone,    ///< a second tooth stands out too
  widest_not_largest,
  tooth_broken_off,   ///< one place never gives a pulse
  larger_tooth_worn,  ///< smaller than the known ring's
  not_as_stated,
  perhaps_worn,  ///< another tooth is odd and may be the larger one
  another_ring,
  taken_at_its_word,  ///< the larger tooth, for want of anything to compare it with
  polarity_reversed,
  dropped_pulses,
  extra_pulses,
  count_lost,
  tooth_out_of_place,        ///< one tooth's spacing error stands out
  tooth_of_odd_size,         ///< one tooth, not the reference, gives a smaller or larger pulse
  swing_changes_with_speed,  ///< flux swing, which speed does not change of itself
  swing_changes_with_time,
  elements_disagree,
  element_not_used,    ///< another element is read instead of the first
  channels_exchanged,  ///< another channel shows the teeth
  once_per_turn        ///< one pulse per revolution instead of a ring
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
  ReferenceJudgement reference;
  RingPicture ring;                  ///< place 0 is the reference tooth (or the likeliest, when refused)
  std::vector<TimeSpan> without;     ///< no turning teeth; the first `most_listed` of them
  double passage_scatter_rad = 0.0;  ///< standard deviation of one passage: noise and jitter
  double lowest_swing = 0.0, highest_swing = 0.0;  ///< of it between speeds
  double swing = 0.0;                              ///< mean flux swing per tooth [unit s]
  std::optional<int> count_shown;  ///< teeth between larger pulses, when searched for and found
  std::vector<Finding> findings;   ///< gravest first

  [[nodiscard]] bool has(FindingKind kind) const;
};

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

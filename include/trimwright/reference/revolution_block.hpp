#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "trimwright/reference/larger_tooth.hpp"
#include "trimwright/reference/spacing_errors.hpp"
#include "trimwright/reference/tooth_count.hpp"
#include "trimwright/reference/tooth_track.hpp"

namespace trimwright {

/// Whether the phase of a few revolutions may be used, and if not, why.
enum class ReferenceVerdict {
  trusted,
  not_regular,         ///< pulses come too unevenly to be a ring of teeth on a shaft
  too_many_dropped,    ///< more than a tenth of the pulses missing
  speed_out_of_range,  ///< outside the declared range
  no_larger_tooth,     ///< no place stands out
  place_disputed,      ///< halves of the block, or the revolutions before it, say another place
  polarity_reversed    ///< the larger pulse lies across two crossings: the declared slope is the wrong one
};

[[nodiscard]] std::string_view describe(ReferenceVerdict verdict);

/// A whole number of revolutions, judged for itself.
struct RevolutionBlock {
  ReferenceVerdict verdict = ReferenceVerdict::not_regular;
  ToothTrack track;  ///< whole revolutions; multiples of 2 pi are the reference tooth when trusted
  double revolutions = 0.0;
  double speed_rpm = 0.0;  ///< mean
  double speed_change_rpm_per_s = 0.0;
  int dropped = 0;  ///< pulses missing
  bool after_lost_count = false;
  double irregularity =
      0.0;  ///< rms deviation of a tooth from smooth motion [pitches], its own average left out
  double mean_swing = 0.0;         ///< mean flux swing per tooth [unit s]
  double mean_peak_to_peak = 0.0;  ///< [unit]
  double width = 0.0;              ///< top-to-bottom time over the pitch
  Standout larger;                 ///< `place` is counted from the block's first tooth
  Eigen::ArrayXd sizes;            ///< mean size per tooth, from the reference tooth when trusted
};

struct BlockTeeth;

struct BlockRules {
  int revolutions = 8;  ///< per block, at least 4
  LargerToothLimits larger_tooth;
};

/// Gathers counted teeth into blocks of whole revolutions and finds the reference tooth in each.
///
/// A block is trusted only on evidence that is strong by itself or together with the blocks before it in the
/// same unbroken count, that both halves of the block bear out, and that both halves of the pulse share.
class RevolutionBlocks {
 public:
  RevolutionBlocks(const ToothRing& ring, const BlockRules& rules);

  void push(const CountedTooth& tooth, std::vector<RevolutionBlock>& blocks);

  [[nodiscard]] const SpacingErrors& spacing_errors() const { return spacing_errors_; }
  /// Earliest time that a block yet to come may need; nothing when no block has begun.
  [[nodiscard]] std::optional<double> open_since_s() const;

 private:
  [[nodiscard]] RevolutionBlock closed_block();
  void judge(RevolutionBlock& block, const BlockTeeth& teeth, std::int64_t first_count);
  void judge_place(RevolutionBlock& block, const BlockTeeth& teeth, std::int64_t first_count);

  ToothRing ring_;
  BlockRules rules_;
  std::vector<CountedTooth> open_;
  bool after_lost_count_ = false;
  SpacingErrors spacing_errors_;
  std::optional<PlaceSizes> evidence_;  ///< from earlier blocks of this unbroken count, places from count 0
};

}  // namespace trimwright

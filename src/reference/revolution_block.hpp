#pragma once

#include <cstdint>
#include <optional>
#include <vector>
#include "ring_judgement.hpp"
#include "tooth_count.hpp"
#include "tooth_track.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

/// A whole number of revolutions, judged for itself.
struct RevolutionBlock {
  ReferenceVerdict verdict = ReferenceVerdict::not_regular;
  ToothTrack track;  ///< whole revolutions; multiples of 2 pi are place 0 of picture `ring` when trusted
  int ring = 0;      ///< index into `RevolutionBlocks::pictures`
  double revolutions = 0.0;
  double speed_rpm = 0.0;  ///< mean
  double speed_change_rpm_per_s = 0.0;
  int dropped = 0;  ///< pulses missing, a tooth that is broken off not counted
  bool after_lost_count = false;
  double irregularity =
      0.0;  ///< rms deviation of a tooth from smooth motion [pitches], its own average left out
  double mean_swing = 0.0;         ///< mean flux swing per tooth [unit s]
  double mean_peak_to_peak = 0.0;  ///< [unit]
  double width = 0.0;              ///< top-to-bottom time over the pitch
};

struct BlockTeeth;

struct FoldedBlock;

/// Gathers counted teeth into blocks of whole revolutions and keeps one place of the ring as zero through
/// them.
///
/// Which tooth is the reference is not asked here: an unbroken count keeps its places by counting, and after
/// the count was lost the teeth themselves say, by size, width and spacing, which place is which. Where they
/// do not say it clearly a new picture is begun once a tooth stands out, or after 48 revolutions. A block is
/// trusted when its two halves and the revolutions before it have the teeth in the same places.
class RevolutionBlocks {
 public:
  RevolutionBlocks(const ToothRing& ring, const BlockRules& rules);

  void push(const CountedTooth& tooth, std::vector<RevolutionBlock>& blocks);

  /// What was seen of the ring. One picture, unless the places could not be carried over.
  [[nodiscard]] const std::vector<RingPicture>& pictures() const { return pictures_; }
  /// Earliest time that a block yet to come may need; nothing when no block has begun.
  [[nodiscard]] std::optional<double> open_since_s() const;

 private:
  [[nodiscard]] RevolutionBlock closed_block();
  [[nodiscard]] ReferenceVerdict regularity(const RevolutionBlock& block, const FoldedBlock& fold) const;
  [[nodiscard]] ReferenceVerdict place(const FoldedBlock& fold, std::int64_t first_count);
  [[nodiscard]] ReferenceVerdict find_place(const RingPicture& own, std::int64_t first_count);

  ToothRing ring_;
  BlockRules rules_;
  std::vector<CountedTooth> open_;
  bool after_lost_count_ = false;
  std::vector<RingPicture> pictures_;
  std::optional<std::int64_t> anchor_;  ///< place of count 0 in the last picture; empty: not known
  RingPicture pending_;                 ///< seen since the place was lost, by count
};

}  // namespace trimwright

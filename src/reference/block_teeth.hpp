#pragma once

#include <span>
#include <vector>

#include "place_sizes.hpp"
#include "revolution_block.hpp"
#include "tooth_spacing.hpp"

namespace trimwright {

/// The teeth of one block, one entry per tooth pitch; missing pulses interpolated in time, NaN in size.
struct BlockTeeth {
  std::vector<double> times_s;        ///< one more than pitches: the last tooth begins the next block
  std::vector<char> present;          ///< per time
  std::vector<double> before, after;  ///< per pitch: areas of the halves
  std::vector<double> peak_to_peak;   ///< per pitch
  std::vector<double> width_s;        ///< per pitch

  [[nodiscard]] std::vector<double> swings() const;
};

[[nodiscard]] BlockTeeth block_teeth(std::span<const CountedTooth> counted, int pitches);

/// The same turn by turn: rows are revolutions, columns places from the block's first tooth.
struct FoldedBlock {
  FoldedSizes size, before, after, width;  ///< relative to the revolution around
  Eigen::ArrayXXd spacing;  ///< out of the even place [pitches]; NaN in the first and last revolution
};

[[nodiscard]] FoldedBlock folded_block(const BlockTeeth& block, int teeth);

/// What `rows` revolutions from the `first` on show of the ring.
[[nodiscard]] RingPicture picture_of(const FoldedBlock& block, Eigen::Index first, Eigen::Index rows);

/// Speed, regularity and mean sizes of a block; verdict, ring and track are left to the caller.
[[nodiscard]] RevolutionBlock measured(const BlockTeeth& block, const FoldedBlock& fold, int teeth);

/// Shaft angle with the block's first tooth at `first_place` of a ring whose spacing `picture` knows.
[[nodiscard]] ToothTrack track_of(const BlockTeeth& block, int teeth, int first_place,
                                  const RingPicture* picture);

}  // namespace trimwright

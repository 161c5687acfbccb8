#pragma once

#include <span>
#include <vector>

#include "trimwright/reference/revolution_block.hpp"

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

/// Speed, regularity and mean sizes of a block; verdict, larger tooth and track are left to the caller.
[[nodiscard]] RevolutionBlock measured(const BlockTeeth& block, int teeth);

[[nodiscard]] ToothTrack track_of(const BlockTeeth& block, int teeth, int first_place,
                                  const SpacingErrors* spacing_errors);

}  // namespace trimwright

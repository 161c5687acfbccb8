#pragma once

#include <string>
#include <vector>

#include "trimwright/reference.hpp"

namespace trimwright {

/// A ring as an earlier recording showed it: what identifies its teeth, and how strong its signal was.
struct KnownRing {
  std::string rotor, serial;
  std::string from;     ///< the recording it was made from
  bool falling = true;  ///< declared polarity then
  double speed_rpm = 0.0;
  RingPicture picture;                             ///< place 0 is the reference tooth
  double swing = 0.0;                              ///< mean flux swing of a tooth [V s]
  double lowest_swing = 0.0, highest_swing = 0.0;  ///< between speeds and times
};

/// What a recording of the same or another ring says beside a known one.
struct RingComparison {
  enum class Same { yes, no, cannot_tell };
  std::string from;
  Same same = Same::cannot_tell;
  int teeth_alike = 0, teeth_changed = 0;    ///< of a ring that is the same
  double ratio_then = 0.0, ratio_now = 0.0;  ///< of the larger tooth over the others
  double swing_ratio = 0.0;                  ///< now over then
  bool swing_as_before = false;              ///< within what the known ring showed, a tenth more allowed
  bool polarity_as_before = true;
};

[[nodiscard]] RingComparison compared_with(const KnownRing& known, const Extraction& now, bool falling);

}  // namespace trimwright

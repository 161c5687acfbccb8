#pragma once

#include <optional>
#include <string_view>

#include "trimwright/reference/ring_picture.hpp"

namespace trimwright {

/// Whether the phase of a few revolutions, or of a recording, may be used, and if not, why.
enum class ReferenceVerdict {
  trusted,
  not_regular,         ///< pulses come too unevenly to be a ring of teeth on a shaft
  too_many_dropped,    ///< more than a tenth of the pulses missing, at no fixed place
  speed_out_of_range,  ///< outside the declared range
  no_larger_tooth,     ///< no place stands out
  larger_not_alone,    ///< a second place stands out too
  widest_not_largest,  ///< another tooth than the largest is the widest
  tooth_broken_off,    ///< one place gives no pulse in any revolution
  not_as_stated,       ///< the largest tooth has not the stated size or width
  perhaps_worn,        ///< it has, but another is odd too and may be the larger tooth, worn
  another_ring,        ///< the teeth are not those of the known ring
  place_disputed,      ///< the teeth do not pass in the order of the revolutions before
  polarity_reversed,   ///< the larger pulse lies across two crossings: the declared slope is the wrong one
  elements_disagree    ///< two sensing elements say different teeth and nothing decides
};

[[nodiscard]] std::string_view describe(ReferenceVerdict verdict);

/// What the choice of the reference tooth rests on.
enum class ReferenceBasis {
  at_its_word,  ///< the largest tooth, with nothing to compare it with (a ring of one tooth included)
  stated_size,  ///< its size agrees with what the rotor file or a known ring says
  stated_size_and_width,
  known_ring  ///< all teeth together, as spacing, size and width identify them
};

/// What is known of a ring before a recording is read.
struct RingKnowledge {
  std::optional<double> ratio;      ///< size of the larger tooth over that of the others
  std::optional<double> width;      ///< its pulse's width over that of the others
  std::optional<RingPicture> ring;  ///< from an earlier recording, place 0 the reference tooth
};

struct ReferenceJudgement {
  ReferenceVerdict verdict = ReferenceVerdict::no_larger_tooth;
  ReferenceBasis basis = ReferenceBasis::at_its_word;
  int place = 0;             ///< of the reference tooth
  double over_others = 1.0;  ///< size of that tooth over the others', run-out left out
  double over_next = 1.0;    ///< over the next largest
  double wider = 1.0;        ///< width over the others'
  std::optional<int> rival;  ///< the place that speaks against it, where one does
  std::optional<RingMatch> with_known;
};

/// Which tooth is the reference. Without knowledge the largest is taken at its word, and only when it is
/// clearly alone, is not narrower than another that stands out in width, and no tooth is broken off. With a
/// stated size it must have that size too, and, unless it is told by its width, no other tooth may be odd.
/// With a known ring all teeth decide together, so that wear of the larger tooth or damage of another does
/// not matter; where the ring is too even or too noisy to tell its teeth apart, the known size is used as if
/// stated.
[[nodiscard]] ReferenceJudgement judged(const RingPicture& seen, const RingKnowledge& known);

/// Whether the largest tooth is clearly alone in what was seen so far.
[[nodiscard]] bool stands_out(const RingPicture& seen);

}  // namespace trimwright

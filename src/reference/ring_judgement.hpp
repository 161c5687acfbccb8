#pragma once

#include <optional>
#include <string_view>
#include "ring_picture.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

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

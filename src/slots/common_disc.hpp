#pragma once

#include <vector>

#include "model.hpp"

namespace trimwright::slots_detail {

/// A small disc that holds everything that lies in all of these discs; radius negative: nothing does,
/// infinite: not known (a centre lies in all discs).
///
/// The boundary of what they have in common is a chain of arcs between the points where two circles cross
/// inside all others. Unless a centre lies in it, every arc is less than half a circle, and so no farther
/// from its chord than its height. (Elementary geometry; no source needed.)
[[nodiscard]] Disc common_disc(std::vector<Disc> discs);

}  // namespace trimwright::slots_detail

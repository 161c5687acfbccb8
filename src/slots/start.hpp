#pragma once

#include "incumbent.hpp"
#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// A first good choice with at most `changes` changes: adds to the best so far the change that helps most,
/// then replaces one change at a time while that helps. Takes what it finds into the contest.
void start_from_fewer(const Model& model, std::size_t changes, Contest& contest, Deadline& deadline);

}  // namespace trimwright::slots_detail

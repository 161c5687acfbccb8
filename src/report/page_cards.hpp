#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// "Change 3 slots": what there is to do, in a heading.
[[nodiscard]] std::string work_words(const PageView& view);

/// A card for each slot that changes: plane, slot, what comes out and what goes in, with boxes to tick; for
/// planes without slots the moments; where nothing changes, why.
[[nodiscard]] Markup change_cards(const PageView& view);

}  // namespace trimwright

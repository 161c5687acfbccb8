#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// Every place to run as a bar over its limit: before, expected with nine readings in ten, measured, target.
/// Grouped by sensor, by speed; the page's script moves what is expected.
[[nodiscard]] Markup level_bars_of(const PageView& view);

/// What the shapes in the bars mean.
[[nodiscard]] Markup level_bars_key(const PageView& view);

/// "✓" of "✓ below target", and the words in full for those who do not see it; what is not well is in words
/// for everybody.
[[nodiscard]] Markup result_marks(const std::string& words);

}  // namespace trimwright

#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// The sheet to print and file: levels before and after, weights, verdict, cautions and lines to sign. It
/// shows the plan itself, whatever is tried on the page.
[[nodiscard]] Markup page_sheet(const PageView& view);

}  // namespace trimwright

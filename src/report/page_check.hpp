#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// What `check` says of the run that was made: expected beside measured, what may have gone wrong and what
/// would undo it, what to do next. Only where there is a verdict.
[[nodiscard]] Markup check_part(const PageView& view);

}  // namespace trimwright

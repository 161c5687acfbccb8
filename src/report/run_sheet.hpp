#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// A blank sheet for any run: who, when and how, what is fitted by plane, and a box for every reading beside
/// its limit. `css_class` as for `paper`. `trial`: what is to be fitted for it, drawn; null: any run.
[[nodiscard]] Markup run_sheet(const Job& job, std::string_view css_class, const PageView* trial);

}  // namespace trimwright

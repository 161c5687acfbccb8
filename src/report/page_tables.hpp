#pragma once

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// A heading of a table; numbers stand to the right, under it.
struct PageColumn {
  std::string words;
  bool number = false;
  std::string css_class{};  ///< of its heading, beside
};

/// A table under a caption; `columns` name its columns, `rows` are its `tr` elements. It scrolls by itself
/// where the page is narrow.
[[nodiscard]] Markup page_table(const std::string& caption, const std::vector<PageColumn>& columns,
                                const Markup& rows);

/// Every figure at every speed and sensor; the page's script rewrites the expected ones.
[[nodiscard]] Markup expected_table(const PageView& view);
[[nodiscard]] Markup influence_table(const PageView& view);
[[nodiscard]] Markup trade_off_table(const PageView& view);

}  // namespace trimwright

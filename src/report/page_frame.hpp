#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

// What the pages of a plan, of a trial run and of no run yet have in common.

/// A whole page. `script_data`: the document its script starts from; empty: a page without what if.
[[nodiscard]] std::string page_document(const Job& job, const std::string& kind, const Markup& body,
                                        const std::string& script_data);

/// Whose page it is.
[[nodiscard]] Markup masthead(const Job& job);

/// What can be looked up, folded away: its heading tells the answer.
[[nodiscard]] Markup folded(std::string_view id, const std::string& heading, const std::string& answer,
                            const Markup& content, bool open = false);

/// A heading of the given level ("h2") and its points as a list; nothing when there are none.
[[nodiscard]] Markup listed_under(std::string_view level, const std::string& heading,
                                  const std::vector<std::string>& points);

/// The cautions and what speaks against trusting the page, folded under the first caution; `open` where that
/// is grave.
[[nodiscard]] Markup cautions_part(const std::vector<std::string>& cautions,
                                   const std::vector<std::string>& warnings, bool open);

[[nodiscard]] Markup step_list(const BalancePlan& plan);
/// The same under their heading, only on paper: on the screen they stand in a fold of the page.
[[nodiscard]] Markup steps_on_paper(const BalancePlan& plan);

/// A plane's map under its name and the end it is seen from.
[[nodiscard]] Markup plane_drawing(const PageView& view, std::size_t plane, const std::string& part);

}  // namespace trimwright

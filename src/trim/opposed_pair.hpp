#pragma once

#include <optional>
#include <vector>

#include "slot_catalogue.hpp"
#include "trim_rows.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// Beyond this angle two weights of a plane work against each other; our own figure.
inline constexpr double opposed_deg = 150.0;

/// Two weights of one plane, one of them newly fitted by `changes`, nearly opposite each other: "K3 in slot 5
/// and K2 in slot 24 of spinner". Empty: none.
[[nodiscard]] std::string opposed_pair(const Job& job, const std::vector<SlotChange>& changes);

/// A choice without such a pair, of as many changes at most, that does as well as `row` (within
/// `probability_indifference` and `ratio_indifference`, and no limit or target the worse): out of the few
/// best of the search the one of least mass. Empty: none was found before `deadline`.
[[nodiscard]] std::optional<TradeOffRow> without_opposed_pair(const Job& job, const InfluenceModel& model,
                                                              const TradeOffRow& row,
                                                              const std::vector<SlotChoice>& choices,
                                                              const SlotCatalogue& catalogue,
                                                              const TrimRows& rows, const Deadline& deadline);

}  // namespace trimwright

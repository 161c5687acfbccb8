#pragma once

#include <optional>
#include <vector>

#include "slot_catalogue.hpp"
#include "trim_rows.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// An answer of the search as a row, its chances left out.
[[nodiscard]] TradeOffRow row_of(const SlotCatalogue& catalogue, const SlotChoice& choice,
                                 const TrimRows& rows);

/// Rows of the trade-off: those answers that gain something by their number of changes.
[[nodiscard]] std::vector<TradeOffRow> trade_off_rows(const SlotCatalogue& catalogue,
                                                      const std::vector<SlotChoice>& choices,
                                                      const TrimRows& rows);

/// The trade-off of the objective that `request` does not ask for. A note where the deadline leaves it open.
[[nodiscard]] std::vector<TradeOffRow> trade_off_of_other(const Job& job, TrimRequest request,
                                                          const TrimRows& rows, const Deadline& deadline,
                                                          std::vector<std::string>& notes);

/// The most probable choice of every number of changes, where it is more probable than those of fewer: out of
/// `choices` and those near the most probable `moments`.
[[nodiscard]] std::vector<TradeOffRow> probable_rows(const Job& job, const InfluenceModel& model,
                                                     const TrimRows& rows, const SlotCatalogue& catalogue,
                                                     const std::vector<SlotChoice>& choices,
                                                     const Eigen::VectorXcd& moments,
                                                     const Deadline& deadline);

/// Puts into a table of judged rows those of `probable` that are clearly likelier to meet every target than
/// all with as many changes or fewer.
void add_likelier_rows(std::vector<TradeOffRow>& table, const std::vector<TradeOffRow>& probable);

/// The recommended row, or the one with as many changes as were asked for. Error: there is none.
[[nodiscard]] Result<std::size_t> chosen_row(const TrimPlan& plan);

/// The chosen row of the trade-off, then the best choices that differ enough from all before. A note where
/// the deadline ends the list.
[[nodiscard]] std::vector<TradeOffRow> alternatives_to(const TradeOffRow& chosen,
                                                       const std::vector<SlotChoice>& choices,
                                                       const SlotCatalogue& catalogue,
                                                       const TrimRequest& request, const TrimRows& rows,
                                                       Deadline deadline, std::vector<std::string>& notes);

}  // namespace trimwright

#pragma once

#include <string>
#include <vector>

#include "runs/next_steps.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {

/// What the printed texts of a job share.

/// The title, underlined, and whose it is: rotor, serial, job, station.
[[nodiscard]] std::string title_lines(const Job& job, const std::string& title);
/// The same, and the conventions of what follows.
[[nodiscard]] std::string headline(const Job& job, const std::string& what);
/// What is missing before the next command, in order; empty: nothing.
[[nodiscard]] std::string missing_lines(const NextSteps& next);
[[nodiscard]] std::string section(const std::string& title);
[[nodiscard]] std::string caution_lines();
/// A title and its points; nothing when there are none.
[[nodiscard]] std::string points_below(const std::string& title, const std::vector<std::string>& points);
[[nodiscard]] std::string warning_lines(const std::vector<std::string>& warnings);
[[nodiscard]] std::string step_lines(const BalancePlan& plan);
[[nodiscard]] std::string change_table(const Job& job, const std::vector<SlotChange>& changes,
                                       std::size_t width);
/// "Do not take out, it stays in: rear disc slot 10 (D)."; empty where nothing that is fitted stays.
[[nodiscard]] std::string staying_words(const Job& job, const std::vector<SlotChange>& changes);

}  // namespace trimwright

#pragma once

#include <string>
#include <vector>

#include "trimwright/plan.hpp"

namespace trimwright {

/// "spinner slot 7, 63.0° with rotation, between blades 4 and 5".
[[nodiscard]] std::string slot_place_words(const Rotor& rotor, std::size_t plane, int slot);

/// What a sentence about a place that nothing predicts ends with, as long as the run is to be made.
inline constexpr std::string_view watch_it = " Watch it in the run.";

/// What the run made with a plan's weights is called: "trial spinner" or "check run", with a number behind
/// where a run has that name.
[[nodiscard]] std::string next_run_name(const Job& job, const BalancePlan& plan);

/// Adds `more` at the end of `steps`.
void append(std::vector<Step>& steps, std::vector<Step> more);

/// Steps that every plan begins with: make safe, confirm the numbering, count what is fitted.
[[nodiscard]] std::vector<Step> opening_steps(const Job& job);

/// Take out, put in, check, torque: from what is fitted now to what shall be.
[[nodiscard]] std::vector<Step> fitting_steps(const Job& job, const std::vector<SlotChange>& changes);

/// The second person's check and torque and locking, after whatever was fitted.
[[nodiscard]] std::vector<Step> closing_checks(const std::vector<std::string>& counts);

/// Run, compare, stop: for readings expected at the job's speed points. `stop_column`: what the plan's table
/// calls the levels at which to stop.
[[nodiscard]] std::vector<Step> running_steps(const Job& job, const std::vector<ExpectedReading>& expected,
                                              const std::string& stop_column);

}  // namespace trimwright

#pragma once

#include <string>
#include <vector>

#include "markup.hpp"
#include "page_view.hpp"

namespace trimwright {

/// What a sensor read while the speed changed, by speed, as shown: a run-up or a run-down of one run.
struct RunUpCurve {
  std::size_t run = 0;
  bool newest = false;  ///< of the last run that has any; else of the first
  std::vector<double> rpm, amplitude;
  std::vector<double> phase_deg;  ///< each as near to the one before as whole turns allow
};

/// Of the first run that has any and of the last: more would cover one another.
[[nodiscard]] std::vector<RunUpCurve> run_up_curves(const PageView& view, std::size_t sensor);

/// CSS class of its line.
[[nodiscard]] std::string run_up_class(const RunUpCurve& curve);

/// Moves a phase by whole turns to where it is nearest to `other`.
[[nodiscard]] double nearest_turn(double phase_deg, double other_deg);

}  // namespace trimwright

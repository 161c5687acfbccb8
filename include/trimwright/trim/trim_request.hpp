#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/trim/slot_search.hpp"

namespace trimwright {

/// Which planes a trim may use.
enum class PlaneChoice {
  all,        ///< every plane whose coefficients are known
  easy_first  ///< those with easy access, and the others only if these cannot meet limits and targets
};

/// How much the readings of one speed point count beside the others (1 when not named).
struct SpeedWeight {
  std::size_t speed = 0;  ///< index into Job::speeds_rpm
  double weight = 1.0;
};

/// What the person asks of a trim.
struct TrimRequest {
  PlaneChoice plane_choice = PlaneChoice::all;
  std::vector<std::size_t> planes;  ///< when not empty: just these (indices into Rotor::planes)
  SlotObjective objective = SlotObjective::worst_ratio;
  bool objective_asked = false;  ///< by the job or the person: choices are then made by it alone
  /// Choose by the probability that every reading of the next run meets its target instead; `objective`,
  /// `penalty` and `speed_weights` then only tell where that search starts.
  bool most_probable = false;
  int max_changes = 8;            ///< slots whose content may change
  bool keep_fitted = false;       ///< weights fitted now stay where they are
  std::optional<int> max_pieces;  ///< fitted in the usable slots of all planes used, those that stay included
  std::vector<SpeedWeight> speed_weights;
  /// Against weights that fight each other: the effect of each plane's added moment on its most sensitive
  /// reading, over its limit, counts `penalty` times as one more row. 0: none.
  double penalty = 0.0;
  std::optional<int> pieces;  ///< take this row of the trade-off instead of the recommended one
  double time_limit_s = 5.0;  ///< for all searches of a call together
  int best = 1;  ///< so many plans, best first, each at least `least_difference` slots from the others
  int least_difference = 2;      ///< slots that end up with different contents
  bool both_objectives = false;  ///< the trade-off of the other objective as well
  bool despite_mirror = false;   ///< plan although the runs contradict the declared conventions
};

}  // namespace trimwright

#pragma once

#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/forecast/forecast.hpp"
#include "trimwright/influence/influence_model.hpp"
#include "trimwright/runs/job.hpp"
#include "trimwright/trim/minimax.hpp"
#include "trimwright/trim/trim_request.hpp"

namespace trimwright {

/// The unbalance that would cancel best if weights came in every size at every angle.
struct Correction {
  struct Part {
    std::size_t plane = 0;               ///< index into Rotor::planes
    std::complex<double> moment_to_add;  ///< beside what is fitted now [g mm, rotor angle]
  };
  std::vector<Part> parts;
  double worst_ratio = 0.0;  ///< largest predicted amplitude over limit
  double bound = 0.0;        ///< no moments within the planes' limits have a smaller worst ratio
};

/// One slot whose content changes; empty means the filler.
struct SlotChange {
  std::size_t plane = 0;
  int slot = 0;
  std::optional<Piece> remove;
  std::optional<Piece> fit;
};

/// The best choice with a given number of slots changed.
struct TradeOffRow {
  std::vector<SlotChange> changes;
  double worst_ratio = 0.0;      ///< largest predicted amplitude over limit
  double root_of_squares = 0.0;  ///< of the predicted amplitudes over their limits, weighted as requested
  double objective = 0.0;        ///< what was minimised; with `most_probable` the chance of missing a target
  double bound = 0.0;            ///< on the objective, over all choices with at most as many changes
  bool proved_optimal = false;
  bool recommended = false;
  bool meets_limits = false;       ///< every predicted amplitude is below its limit
  bool meets_targets = false;      ///< and below its target, where one is set
  std::optional<Outlook> outlook;  ///< of the next run; empty where no reading noise is known

  /// (objective - bound) / objective; 0 when the objective is 0.
  [[nodiscard]] double gap() const { return objective > 0.0 ? (objective - bound) / objective : 0.0; }
};

/// From known influence to weights in slots.
struct TrimPlan {
  std::vector<std::size_t> planes;  ///< planes used
  TrimRequest request;
  Correction correction;
  std::vector<TradeOffRow> trade_off;   ///< by rising number of changes; empty for planes without slots
  std::size_t chosen = 0;               ///< row of `trade_off` that the plan carries out
  std::vector<Prediction> predictions;  ///< for the chosen row (or for the correction itself, without slots)
  std::vector<UnpredictedPlace> not_predicted;  ///< to be read in the next run all the same
  std::optional<Outlook> outlook;               ///< of the next run as planned; empty where no noise is known
  double worst_ratio = 0.0;                     ///< over `predictions`
  double bound = 0.0;  ///< no admissible choice, of any number of changes allowed, has a smaller worst ratio
  /// The plan and the best ones that differ from each before in at least TrimRequest::least_difference slots,
  /// with at most as many changes; when more than one was asked for. Each is proved (or not) as such.
  std::vector<TradeOffRow> alternatives;
  std::vector<TradeOffRow> other_trade_off;  ///< of the other objective, when asked for
  std::vector<std::string> notes;
  /// Fewest changes for which the time limit left open whether they gain anything; empty: all was settled.
  std::optional<int> unsettled_from;

  [[nodiscard]] bool has_slots() const { return !trade_off.empty(); }
};

/// Probabilities of meeting every target this close count as equal when fewer changes are preferred: what
/// 4000 samples tell apart, doubled.
inline constexpr double probability_indifference = 0.03;

/// Worst ratios this close (of the limit) count as equal when fewer changes are preferred.
inline constexpr double ratio_indifference = 0.05;

/// Least squares or worst case over the planes asked for, first without slots, then over all admissible
/// contents of the slots. `job` and `model` from `settle_and_fit`.
///
/// Recommended: the fewest changes whose worst ratio is within 0.05 of the best, or within one standard
/// deviation of the best's worst reading where that is known and larger; but no choice above a limit,
/// or above a target, where another row stays below all of them. Where reading noise is known, the fewest
/// changes whose probability of meeting every target in the next run (or every limit, where no row has a
/// chance of one in a hundred) is within `probability_indifference` of the best row's.
/// With `TrimRequest::most_probable` rows are chosen by that probability (see docs/certainty.md): not proved,
/// their bound is 0, and a row stands only where it is more probable than all with fewer changes.
/// Errors: a plane without known coefficients; `most_probable` where no reading noise is known; planes with
/// and without slots
/// together; rules that nothing satisfies (and which of them contradict each other); `pieces` not in the
/// trade-off.
[[nodiscard]] Result<TrimPlan> plan_trim(const Job& job, const InfluenceModel& model,
                                         const TrimRequest& request);

/// What is fitted in every plane once `changes` have been made.
[[nodiscard]] std::vector<FittedWeights> fitted_after(const Job& job, const std::vector<SlotChange>& changes);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>

#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/forecast.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/job.hpp"
#include "trimwright/review.hpp"
#include "trimwright/slot_search.hpp"

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
  std::string more_time{};    ///< what a person does for a longer search, a sentence; empty: `--time-limit`
  int best = 1;  ///< so many plans, best first, each at least `least_difference` slots from the others
  int least_difference = 2;      ///< slots that end up with different contents
  bool both_objectives = false;  ///< the trade-off of the other objective as well
  bool despite_mirror = false;   ///< plan although the runs contradict the declared conventions
  Deadline::Now clock = Deadline::Clock::now;
  /// Of the whole call this is part of, where a person set one; empty: the searches for weights end
  /// `time_limit_s` after they begin, and nothing else does by the clock.
  std::optional<Deadline> ends;

  /// Of the searches for weights.
  [[nodiscard]] Deadline deadline() const { return ends ? *ends : Deadline::after(time_limit_s, clock); }
  /// Of all else that is sought.
  [[nodiscard]] Deadline end_of_call() const {
    return ends ? *ends : Deadline(Deadline::interruption(), clock);
  }
};

/// Rows x = residual + response * u over the planes' added moments u [g mm], with |u_p + offset| <= radius.
/// Rows are scaled (divided by their limits) so that they compare.
struct ContinuousProblem {
  Eigen::VectorXcd residual;  ///< n
  Eigen::MatrixXcd response;  ///< n x planes
  std::vector<MomentLimit> moment_limits;
};

/// Why a continuous solve ended.
enum class SolveStatus {
  solved,
  no_admissible_moment,  ///< the moment limits exclude each other
  inaccurate             ///< rounding stopped it early; the bound says how far it may be off
};

struct ContinuousSolution {
  SolveStatus status = SolveStatus::solved;
  Eigen::VectorXcd moments;  ///< u, one per plane [g mm]
  double objective = 0.0;    ///< max |x_i|, or sqrt(sum |x_i|^2)
  double bound = 0.0;        ///< no admissible u has a smaller objective
  Eigen::VectorXd weights;   ///< worst case: the w_i >= 0, sum 1, of the certificate
};

/// Minimises max_i |x_i|.
///
/// Goodman (1964) reweights least squares, which converges slowly and is unproved under constraints; this is
/// a log-barrier Newton method on the second-order-cone form min t, |x_i| <= t (S. Boyd and L. Vandenberghe,
/// *Convex Optimization*, 2004, chapter 11). The cone multipliers w_i give the certificate
///     max_i |x_i|^2 >= min_u sum_i w_i |x_i(u)|^2 + sum_l mu_l (|u_l + o_l|^2 - r_l^2)
/// for any w_i >= 0, sum w_i = 1, mu_l >= 0, which is what `bound` evaluates.
/// Planes that act alike leave u undetermined; the answer then lies near the smallest of the equally good
/// ones.
[[nodiscard]] ContinuousSolution minimise_worst_ratio(const ContinuousProblem& problem);

/// Minimises sum_i |x_i|^2: by singular values (the smallest solution when the planes act alike) where no
/// moment limit is active, else by the same barrier method.
[[nodiscard]] ContinuousSolution minimise_least_squares(const ContinuousProblem& problem);

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
  bool without_opposed = false;  ///< stands for the next row, in which weights of a plane oppose each other
  bool by_chance = false;        ///< chosen for its chance of meeting every target, not for the objective
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
  Trust trust{};                    ///< in the model that it was made on
  TrimRequest request;
  Correction correction;
  std::vector<TradeOffRow> trade_off;   ///< by rising number of changes; empty for planes without slots
  std::size_t chosen = 0;               ///< row of `trade_off` that the plan carries out
  std::string why;                      ///< why the recommended row is recommended, in whole sentences
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
  /// `notes` tell it, as they do of every other part of the call that the time limit cut short.
  std::optional<int> unsettled_from;

  [[nodiscard]] bool has_slots() const { return !trade_off.empty(); }
  /// Nothing is changed, for want of time: this is no plan.
  [[nodiscard]] bool nothing_found() const {
    return unsettled_from && has_slots() && trade_off[chosen].changes.empty() &&
           (!request.pieces || trade_off[chosen].recommended);
  }
};

/// What is proved of a row: "best possible", "within 3 %" of the objective, "within 0.4 points" of a chance.
[[nodiscard]] std::string proof_words(const TrimPlan& trim, const TradeOffRow& row);

/// Probabilities of meeting every target this close count as equal when fewer changes are preferred: about
/// what the draws of one posterior tell apart.
inline constexpr double probability_indifference = 0.02;

/// Worst ratios this close (of the limit) count as equal when fewer changes are preferred.
inline constexpr double ratio_indifference = 0.05;

/// Least squares or worst case over the planes asked for, first without slots, then over all admissible
/// contents of the slots. `job` and `model` from `settle_and_fit`.
///
/// Recommended, where reading noise is known: the fewest changes whose probability of meeting every target in
/// the next run is within `probability_indifference` of the best; where that is below one half, the fewest
/// that are as good also in the probability of every limit and in the expected worst ratio (within
/// `ratio_indifference`). Unless an objective was asked for, choices made by probability stand beside those
/// of smallest worst ratio where they are likelier. Where no noise is known: the fewest changes whose worst
/// ratio is within 0.05 of the best, but no choice above a limit, or above a target, where another row stays
/// below all of them. With `TrimRequest::most_probable` rows are chosen by that probability (see
/// docs/certainty.md): their bound is what moments of every size within reach would leave of the chance of
/// missing (0: not known), and a row stands only where it is more probable than all with fewer changes.
/// All searches of the call (easily reached planes, alternatives, the other objective, rules that contradict
/// each other) share `deadline`, and the notes say which of them it ended.
/// Where the recommended row fits a weight nearly opposite another of its plane, and another of as many
/// changes does as well without, that is put before it and recommended, the one of least mass.
/// Errors: runs that contradict the declared conventions, or a fleet that has no such rotor, unless
/// `despite_mirror` says to plan all the same: the weights would go to the mirror image; a plane without
/// known coefficients; `most_probable` where no reading noise is known; planes with and without slots
/// together; rules that nothing satisfies (and which of them contradict each other); `pieces` not in the
/// trade-off.
[[nodiscard]] Result<TrimPlan> plan_trim(const Job& job, const InfluenceModel& model,
                                         const TrimRequest& request, const Deadline& deadline);
[[nodiscard]] inline Result<TrimPlan> plan_trim(const Job& job, const InfluenceModel& model,
                                                const TrimRequest& request) {
  return plan_trim(job, model, request, request.deadline());
}

/// What is fitted in every plane once `changes` have been made.
[[nodiscard]] std::vector<FittedWeights> fitted_after(const Job& job, const std::vector<SlotChange>& changes);

/// The slots that do not hold `now` what they held `before` (one entry per plane in both), by plane and slot.
[[nodiscard]] std::vector<SlotChange> changes_between(const Rotor& rotor,
                                                      const std::vector<FittedWeights>& before,
                                                      const std::vector<FittedWeights>& now);

/// As `plan_trim`, but what is carried out is a person's own choice: `fitted` is all that the slots shall
/// hold, one entry per plane. The planner's rows stay in the trade-off beside the choice.
///
/// Errors: those of `plan_trim`; planes without slots; a plane whose weights the choice changes and whose
/// coefficients are not known; a rule of a plane or of the request that the choice does not keep.
[[nodiscard]] Result<TrimPlan> plan_choice(const Job& job, const InfluenceModel& model,
                                           const TrimRequest& request,
                                           const std::vector<FittedWeights>& fitted,
                                           const Deadline& deadline);
[[nodiscard]] inline Result<TrimPlan> plan_choice(const Job& job, const InfluenceModel& model,
                                                  const TrimRequest& request,
                                                  const std::vector<FittedWeights>& fitted) {
  return plan_choice(job, model, request, fitted, request.deadline());
}

/// What happens to the plan without the suspect readings: the correction, were weights to come in every size
/// and at every angle, with and without them.
struct SuspectEffect {
  std::vector<ReviewedReading> left_out;
  Correction with;
  std::optional<Correction> without;  ///< empty: the other readings settle none
};

/// Empty where no reading is suspect, or no correction can be reckoned at all.
[[nodiscard]] std::optional<SuspectEffect> effect_of_suspects(const Job& job, const InfluenceModel& model,
                                                              const InfluenceReview& review,
                                                              const TrimRequest& request = {});

/// The correction that the readings of one sensor alone ask for, were weights to come in every size and at
/// every angle; `sensor` empty: all together.
struct SensorCorrection {
  std::optional<std::size_t> sensor;
  Correction correction;
};

/// All together first, then each sensor with as many rows as planes or more. Sensors that ask for quite
/// different angles show a phase that is turned, or a sensor mounted the other way. Empty with one sensor.
[[nodiscard]] std::vector<SensorCorrection> corrections_by_sensor(const Job& job, const InfluenceModel& model,
                                                                  const TrimRequest& request = {});

}  // namespace trimwright

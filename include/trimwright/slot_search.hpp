#pragma once

#include <Eigen/Core>

#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/deadline.hpp"

namespace trimwright {

/// What a search over slot contents minimises, over the rows of a `SlotProblem`.
enum class SlotObjective {
  worst_ratio,   ///< max_i |x_i|
  least_squares  ///< sqrt(sum_i |x_i|^2): the root, so that both objectives have the unit of a row
};

/// One thing a slot may be made to hold instead of what it holds now.
struct SlotOption {
  std::complex<double> change;  ///< moment of the new content minus moment of the present one [g mm]
  /// Indices of the pieces the slot then holds, for stock and pair rules; empty: only the filler. Pieces
  /// beyond the list of the stock are as many as wanted.
  std::vector<int> pieces;
};

/// One slot that may be changed. A slot with no options stays as it is, and need not be listed unless a pair
/// names it.
struct SearchSlot {
  int plane = 0;
  std::vector<int> holds;           ///< pieces held now (returned to stock by any change); empty: filler
  std::vector<SlotOption> options;  ///< none of them what it holds now
  bool must_change = false;         ///< what it holds now is not allowed there
};

/// |sum of changes in `plane` + offset| <= radius [g mm].
struct MomentLimit {
  int plane = 0;
  std::complex<double> offset;
  double radius = 0.0;
};

/// Sum over slots of what their contents amount to (pieces, or mass) <= limit.
struct SlotBudget {
  struct Term {
    int slot = 0;                 ///< index into SlotProblem::slots
    double now = 0.0;             ///< of the present content
    std::vector<double> options;  ///< of each option
  };
  std::vector<Term> terms;
  double limit = 0.0;
};

/// What two slots may hold at once.
enum class PairRule {
  apart,     ///< not both pieces
  together,  ///< both pieces, or both only fillers
  alike      ///< the same pieces
};

struct SlotPair {
  int first = 0;  ///< indices into SlotProblem::slots
  int second = 0;
  PairRule rule = PairRule::apart;
};

/// A choice: some slots and what each is made to hold.
struct ChosenOption {
  int slot = 0;    ///< index into SlotProblem::slots
  int option = 0;  ///< index into SearchSlot::options
};

/// Choose at most one option in at most `max_changes` slots so that the rows
/// x = residual + response * (sum of changes per plane) are smallest.
///
/// Slots must be listed in the canonical order (plane, then rotor angle): ties are broken by it.
struct SlotProblem {
  Eigen::VectorXcd residual;      ///< n: rows as they are now, divided by their limits
  Eigen::MatrixXcd response;      ///< n x planes: change of a row per g mm in a plane
  std::vector<SearchSlot> slots;  ///< all slots that may be changed
  /// Per piece: how many lie in stock now, beside those fitted; empty: as many as wanted.
  std::vector<std::optional<int>> in_stock;
  std::vector<MomentLimit> moment_limits;
  int max_changes = 0;
  SlotObjective objective = SlotObjective::worst_ratio;
  std::vector<SlotBudget> budgets;
  std::vector<SlotPair> pairs;
  /// Choices that are taken already: in at least `least_difference` slots any other must leave something
  /// else.
  std::vector<std::vector<ChosenOption>> taken;
  int least_difference = 1;
};

/// When to stop. The search ends when best - bound <= max(relative_gap * best, absolute_gap).
struct SlotSearchOptions {
  double relative_gap = 0.0;
  double absolute_gap = 0.0;  ///< in the unit of a row
  Deadline deadline = Deadline::after(10.0);
  /// How many threads may search; 0: as many as the machine has processors. Answers do not depend on it.
  int threads = 0;
};

/// The best choice found with at most a given number of changes, and how good it is.
struct SlotChoice {
  using Change = ChosenOption;
  enum class Stopped { proved, gap_reached, time_limit };

  std::vector<Change> changes;  ///< in the order of SlotProblem::slots
  double objective = 0.0;       ///< recomputed in double from the problem
  double bound = 0.0;           ///< no admissible choice with as many changes has a smaller objective
  /// bound >= objective * (1 - 2e-9) (ties are 1e-9 wide), or equal within rounding.
  bool proved_optimal = false;
  Stopped stopped = Stopped::proved;
  /// False where no choice with as many changes keeps all rules, or none has been found yet:
  /// `changes` is then empty, `objective` infinite, and `bound` infinite if it is proved that none exists.
  bool admissible = true;
};

/// The best choices with at most 0, 1, ..., max_changes changes (so max_changes + 1 answers, in that order).
///
/// Exact: with no gap allowed, choices whose objectives differ by less than a billionth (or by less than
/// rounding) are tied, and ties go to fewer changes, then the smaller sum of |x_i|^2, then the earlier slots,
/// then the smaller change. With a gap allowed any choice within the gap may be returned, never one with more
/// changes unless it is better. Where the worst row is one that nothing can improve, the sum of squares
/// decides between the choices that tie, to the end of a fixed effort (20 million candidates; 200 000 with a
/// gap).
///
/// Deterministic but for the time limit, whose effect is always told in `bound`; answers never get worse, nor
/// bounds higher, with more changes. Every rule of the problem holds in every answer with `admissible` set;
/// where the fitted weights break one, "no change" is not admissible either. Moment limits and budgets may be
/// exceeded by a billionth.
///
/// Method: the notes in `src/slots`: `walk.hpp`, `bound.hpp`, `reach.hpp` and `rules.hpp`.
/// Searches that take long are shared by several threads (`threads`), which come to the same answers as one
/// alone; calls from several threads at once do not disturb each other. Memory: tables of two-change
/// sums up to 200 MB, of three-change sums up to 46 MB a plane; beyond, such sums are formed when asked for.
[[nodiscard]] std::vector<SlotChoice> search_slots(const SlotProblem& problem,
                                                   const SlotSearchOptions& options);

}  // namespace trimwright

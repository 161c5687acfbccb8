#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <complex>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "rules.hpp"
#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// Differences in an objective below this part of it decide nothing.
inline constexpr double kTie = 1e-9;
/// Less than any number: nothing found yet.
inline constexpr double kNone = -std::numeric_limits<double>::infinity();

using Complex = std::complex<double>;
using Eigen::ArrayXd;

/// All complex points within `radius` of `centre`.
struct Disc {
  Complex centre;
  double radius = 0.0;
};

/// A run of entries of Model::pieces.
struct PieceRange {
  std::uint32_t begin = 0;
  std::uint32_t end = 0;
  [[nodiscard]] bool empty() const { return begin == end; }
};

/// One way to change one slot: a column of the discrete problem.
struct Entry {
  Complex change;
  std::uint32_t slot = 0;  ///< among the slots of its plane
  int problem_slot = 0;
  int problem_option = 0;
  PieceRange takes;    ///< limited pieces taken from stock
  PieceRange returns;  ///< limited pieces given back to stock
};

/// The slots of one plane, and how the rows answer a moment in it.
struct PlaneModel {
  std::size_t index = 0;                  ///< in Model::planes
  int problem_plane = 0;                  ///< in the problem
  std::vector<Entry> entries;             ///< grouped by slot, slots in the order of the problem
  std::vector<std::uint32_t> slot_begin;  ///< entries of slot s: [slot_begin[s], slot_begin[s + 1])
  ArrayXd re, im;                         ///< response of each row
  std::vector<Disc> limits;               ///< the sum of changes must lie in all of these

  [[nodiscard]] std::size_t slots() const { return slot_begin.size() - 1; }
};

/// One entry of one plane.
struct Pick {
  std::size_t plane = 0;
  std::uint32_t entry = 0;
};
using Picks = std::vector<Pick>;

/// Both objectives of a choice, squared.
struct Score {
  double worst2 = 0.0;  ///< max_i |x_i|^2
  double sum2 = 0.0;    ///< sum_i |x_i|^2
};

/// A `SlotProblem` laid out for searching: only planes with slots, only options the stock could ever allow.
struct Model {
  std::vector<PlaneModel> planes;
  ArrayXd residual_re, residual_im;
  std::vector<int> stock;    ///< per limited piece: how many lie in stock
  std::vector<int> holders;  ///< per limited piece: how many the changeable slots hold now
  std::vector<int> pieces;   ///< indices of limited pieces, in the runs that entries name
  int most_returned = 0;     ///< most limited pieces that one change gives back
  Rules rules;
  std::vector<bool> changeable;  ///< per slot of the problem: whether it has entries
  bool least_squares = false;
  bool hopeless = false;        ///< a moment limit no slot can influence is broken
  double scale = 0.0;           ///< largest row magnitude met while searching (for rounding allowances)
  std::size_t max_changes = 0;  ///< never more than there are slots

  /// How many things are scarce: limited pieces, then budgets.
  [[nodiscard]] std::size_t scarce() const { return stock.size() + rules.left().size(); }
  [[nodiscard]] std::size_t rows() const { return static_cast<std::size_t>(residual_re.size()); }
  [[nodiscard]] const Entry& entry(const Pick& pick) const { return planes[pick.plane].entries[pick.entry]; }
  [[nodiscard]] std::span<const int> pieces_in(PieceRange range) const {
    return {pieces.data() + range.begin, pieces.data() + range.end};
  }
  [[nodiscard]] double squared(const Score& score) const { return least_squares ? score.sum2 : score.worst2; }
};

[[nodiscard]] Model make_model(const SlotProblem& problem);

/// Whether a sum of changes in a plane keeps its moment limits (radii are a billionth wider, for rounding).
[[nodiscard]] bool keeps_limits(const PlaneModel& plane, Complex sum);

/// Whether a whole choice keeps every moment limit, budget and pair rule and differs from those taken;
/// `picks` in any order.
[[nodiscard]] bool keeps_rules(const Model& model, const Picks& picks);

/// Sorts the picks in the order of the problem's slots.
void sort_picks(const Model& model, Picks& picks);

/// Both objectives of a choice, summed in the order of the picks (so sort them first).
[[nodiscard]] Score score(const Model& model, const Picks& picks);

/// Rows of a choice.
void rows_of(const Model& model, const Picks& picks, ArrayXd& re, ArrayXd& im);

/// What lies in stock, and what the rules still ask for, while a choice is being built; stock goes below zero
/// when later removals must make up for it. Changes must be undone last first.
class Ledger {
 public:
  explicit Ledger(const Model& model)
      : model_(&model),
        left_(model.stock),
        available_(model.stock),
        rules_(model.rules, model.changeable),
        has_rules_(model.rules.any()) {
    for (std::size_t k = 0; k < available_.size(); ++k) available_[k] += model.holders[k];
  }

  void fit(const Entry& entry) {
    for (const int piece : model_->pieces_in(entry.takes)) {
      --available_[static_cast<std::size_t>(piece)];
      fewer(static_cast<std::size_t>(piece));
    }
    for (const int piece : model_->pieces_in(entry.returns)) more(static_cast<std::size_t>(piece));
    if (has_rules_) rules_.fit(entry.problem_slot, entry.problem_option);
  }
  void undo(const Entry& entry) {
    if (has_rules_) rules_.undo(entry.problem_slot, entry.problem_option);
    for (const int piece : model_->pieces_in(entry.returns)) fewer(static_cast<std::size_t>(piece));
    for (const int piece : model_->pieces_in(entry.takes)) {
      more(static_cast<std::size_t>(piece));
      ++available_[static_cast<std::size_t>(piece)];
    }
  }
  [[nodiscard]] bool balanced() const { return missing_ == 0 && (!has_rules_ || rules_.can_mend(0)); }
  /// Whether `changes_left` further changes could give back what is missing and mend what is broken.
  [[nodiscard]] bool can_balance(std::size_t changes_left) const {
    if (missing_ > 0 &&
        (missing_ > static_cast<int>(changes_left) * model_->most_returned || beyond_holders_ != 0))
      return false;
    return !has_rules_ || rules_.can_mend(changes_left);
  }
  /// How many pieces may be missing that `changes` further changes would give back.
  [[nodiscard]] int may_miss(std::size_t changes) const {
    return static_cast<int>(changes) * model_->most_returned;
  }
  /// Per scarce thing (limited pieces, then budgets): how much of it some changes can take beyond what they
  /// give back, when `others` further changes, in other planes than `plane` or (null) anywhere, may give back
  /// more. May be below zero.
  void obtainable(const PlaneModel* plane, std::size_t others, std::vector<double>& scarce) const {
    const int returned = static_cast<int>(others) * model_->most_returned;
    scarce.resize(model_->scarce());
    for (std::size_t k = 0; k < left_.size(); ++k) scarce[k] = std::min(available_[k], left_[k] + returned);
    const Rules& rules = model_->rules;
    for (std::size_t b = 0; left_.size() + b < scarce.size(); ++b) {
      const double freed = plane == nullptr ? rules.part_of(b, rules.freed(b, 1))
                                            : rules.freed_elsewhere(b, plane->problem_plane);
      scarce[left_.size() + b] = rules.part_of(b, rules_.left()[b]) + static_cast<double>(others) * freed;
    }
  }
  /// Per scarce thing: what is left of it.
  void left(std::vector<double>& scarce) const {
    scarce.assign(left_.begin(), left_.end());
    for (std::size_t b = 0; b < rules_.left().size(); ++b)
      scarce.push_back(model_->rules.part_of(b, rules_.left()[b]));
  }

  /// Per limited piece: what lies in stock; below zero: what later changes must give back.
  [[nodiscard]] const std::vector<int>& left() const { return left_; }

  [[nodiscard]] bool has_rules() const { return has_rules_; }
  [[nodiscard]] const RuleLedger& rules() const { return rules_; }

 private:
  void fewer(std::size_t piece) {
    const int left = --left_[piece];
    if (left < 0) ++missing_;
    if (left < -model_->holders[piece]) ++beyond_holders_;
  }
  void more(std::size_t piece) {
    const int left = left_[piece]++;
    if (left < 0) --missing_;
    if (left < -model_->holders[piece]) --beyond_holders_;
  }

  const Model* model_;
  std::vector<int> left_;
  std::vector<int>
      available_;  ///< how often a piece could still be taken, were all that are fitted given back
  RuleLedger rules_;
  bool has_rules_;
  int missing_ = 0;         ///< pieces taken that are not there
  int beyond_holders_ = 0;  ///< of those, pieces no slot could give back
};

/// -1, 0, 1: whether `a` comes before `b` among choices equal in the objective (see search_slots).
[[nodiscard]] int compare_tied(const Model& model, const Picks& a, const Score& score_a, const Picks& b,
                               const Score& score_b);

/// Rounding that a quadratic lower bound of an objective squared may carry.
[[nodiscard]] inline double rounding2(const Model& model) {
  const double terms = model.least_squares ? static_cast<double>(model.rows()) : 1.0;
  return 1e-14 * terms * model.scale * model.scale;
}

/// Objectives closer than this are equal within rounding.
[[nodiscard]] inline double rounding(const Model& model) { return 2e-13 * model.scale; }

/// Squared objectives below this are zero within rounding.
[[nodiscard]] inline double zero2(const Model& model) { return 1e-24 * model.scale * model.scale; }

}  // namespace trimwright::slots_detail

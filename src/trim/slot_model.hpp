#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstdint>
#include <vector>

#include "trimwright/trim/slot_search.hpp"

namespace trimwright::slots_detail {

using Complex = std::complex<double>;
using Eigen::ArrayXd;

/// All complex points within `radius` of `centre`.
struct Disc {
  Complex centre;
  double radius = 0.0;
};

/// One way to change one slot: a column of the discrete problem.
struct Entry {
  Complex change;
  std::uint32_t slot = 0;  ///< among the slots of its plane
  int problem_slot = 0;
  int problem_option = 0;
  int takes = -1;    ///< index of the limited piece taken from stock; -1: none, or one of unlimited stock
  int returns = -1;  ///< index of the limited piece given back to stock
};

/// The slots of one plane, and how the rows answer a moment in it.
struct PlaneModel {
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
  std::vector<int> holders;  ///< per limited piece: how many changeable slots hold one now
  bool least_squares = false;
  bool hopeless = false;        ///< a moment limit no slot can influence is broken
  double scale = 0.0;           ///< largest row magnitude met while searching (for rounding allowances)
  std::size_t max_changes = 0;  ///< never more than there are slots

  [[nodiscard]] std::size_t rows() const { return static_cast<std::size_t>(residual_re.size()); }
  [[nodiscard]] const Entry& entry(const Pick& pick) const { return planes[pick.plane].entries[pick.entry]; }
  [[nodiscard]] double squared(const Score& score) const { return least_squares ? score.sum2 : score.worst2; }
};

[[nodiscard]] Model make_model(const SlotProblem& problem);

/// Whether a sum of changes in a plane keeps its moment limits (radii are a billionth wider, for rounding).
[[nodiscard]] bool keeps_limits(const PlaneModel& plane, Complex sum);

/// Whether a whole choice keeps every moment limit; `picks` in any order.
[[nodiscard]] bool keeps_limits(const Model& model, const Picks& picks);

/// Sorts the picks in the order of the problem's slots.
void sort_picks(const Model& model, Picks& picks);

/// Both objectives of a choice, summed in the order of the picks (so sort them first).
[[nodiscard]] Score score(const Model& model, const Picks& picks);

/// Rows of a choice.
void rows_of(const Model& model, const Picks& picks, ArrayXd& re, ArrayXd& im);

/// What lies in stock while a choice is being built; goes below zero when later removals must make up for it.
class StockLedger {
 public:
  explicit StockLedger(const Model& model)
      : left_(model.stock), available_(model.stock), holders_(&model.holders) {
    for (std::size_t k = 0; k < available_.size(); ++k) available_[k] += model.holders[k];
  }

  void fit(const Entry& entry) {
    if (entry.takes >= 0) {
      --available_[static_cast<std::size_t>(entry.takes)];
      fewer(static_cast<std::size_t>(entry.takes));
    }
    if (entry.returns >= 0) more(static_cast<std::size_t>(entry.returns));
  }
  void undo(const Entry& entry) {
    if (entry.returns >= 0) fewer(static_cast<std::size_t>(entry.returns));
    if (entry.takes >= 0) {
      more(static_cast<std::size_t>(entry.takes));
      ++available_[static_cast<std::size_t>(entry.takes)];
    }
  }
  [[nodiscard]] bool balanced() const { return missing_ == 0; }
  /// Whether `changes_left` further changes could give back what is missing.
  [[nodiscard]] bool can_balance(std::size_t changes_left) const {
    return missing_ <= 0 || (missing_ <= static_cast<int>(changes_left) && beyond_holders_ == 0);
  }
  /// Per limited piece: how often it could still be taken, were all that are fitted given back.
  [[nodiscard]] const std::vector<int>& available() const { return available_; }

 private:
  void fewer(std::size_t piece) {
    const int left = --left_[piece];
    if (left < 0) ++missing_;
    if (left < -(*holders_)[piece]) ++beyond_holders_;
  }
  void more(std::size_t piece) {
    const int left = left_[piece]++;
    if (left < 0) --missing_;
    if (left < -(*holders_)[piece]) --beyond_holders_;
  }

  std::vector<int> left_, available_;
  const std::vector<int>* holders_;
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

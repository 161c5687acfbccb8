#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// The budgets and pair rules of a `SlotProblem`, laid out per slot, and the choices taken already.
class Rules {
 public:
  struct Partner {
    int slot = 0;
    PairRule rule = PairRule::apart;
  };
  /// What an option draws from a budget, rounded down to a whole number of small units so that undoing is
  /// exact.
  struct Draw {
    std::size_t budget = 0;
    std::int64_t units = 0;
  };

  /// What a content amounts to in a budget, in parts of the largest that any content amounts to.
  struct Amount {
    std::size_t budget = 0;
    double part = 0.0;
  };

  Rules() = default;
  explicit Rules(const SlotProblem& problem);

  /// Whether there is anything to keep while a choice is being built.
  [[nodiscard]] bool any() const { return any_; }
  /// Whether a whole choice keeps all rules; budgets to a billionth.
  [[nodiscard]] bool keeps(const std::vector<ChosenOption>& choice) const;

  [[nodiscard]] std::size_t slots() const { return now_.size(); }
  [[nodiscard]] const std::vector<Partner>& partners(int slot) const { return partners_[at(slot)]; }
  /// A number for each different content; 0: only the filler.
  [[nodiscard]] int content_now(int slot) const { return now_[at(slot)]; }
  [[nodiscard]] int content(int slot, int option) const { return contents_[at(slot)][at(option)]; }
  [[nodiscard]] const std::vector<Draw>& draws(int slot, int option) const {
    return draws_[at(slot)][at(option)];
  }
  [[nodiscard]] bool must_change(int slot) const { return must_change_[at(slot)]; }
  [[nodiscard]] int plane(int slot) const { return planes_[at(slot)]; }
  /// What is left of each budget with no change.
  [[nodiscard]] const std::vector<std::int64_t>& left() const { return left_; }
  [[nodiscard]] double part_of(std::size_t budget, std::int64_t units) const {
    return static_cast<double>(units) * part_per_unit_[budget];
  }
  [[nodiscard]] const std::vector<Amount>& amounts_now(int slot) const { return amounts_now_[at(slot)]; }
  [[nodiscard]] const std::vector<Amount>& amounts(int slot, int option) const {
    return amounts_[at(slot)][at(option)];
  }
  /// The most that `changes` changes or fewer can free of a budget.
  [[nodiscard]] std::int64_t freed(std::size_t budget, std::size_t changes) const {
    const std::vector<std::int64_t>& sums = freed_[budget];
    return sums[std::min(changes, sums.size() - 1)];
  }
  /// Whether no budget forbids exactly so many changes in each plane.
  [[nodiscard]] bool can_pay(const std::vector<std::size_t>& changes_of_plane) const;
  /// The most that one change outside a plane can free of a budget, as a part of it.
  [[nodiscard]] double freed_elsewhere(std::size_t budget, int plane) const {
    return freed_elsewhere_[budget][at(plane)];
  }

  [[nodiscard]] static bool broken(PairRule rule, int a, int b) {
    if (rule == PairRule::apart) return a != 0 && b != 0;
    return rule == PairRule::together ? (a != 0) != (b != 0) : a != b;
  }

 private:
  [[nodiscard]] static std::size_t at(int index) { return static_cast<std::size_t>(index); }
  void number_contents(const SlotProblem& problem);
  void lay_out_budgets(const SlotProblem& problem);
  [[nodiscard]] bool keeps_pairs(const std::vector<ChosenOption>& choice) const;
  [[nodiscard]] bool keeps_budgets(const std::vector<ChosenOption>& choice) const;
  [[nodiscard]] bool differs_from_taken(const std::vector<ChosenOption>& choice) const;
  void sum_up_draws(const SlotProblem& problem);

  bool any_ = false;
  std::vector<std::vector<Partner>> partners_;
  std::vector<int> now_, planes_;
  std::vector<std::vector<int>> contents_;
  std::vector<bool> must_change_;
  std::vector<SlotPair> pairs_;
  std::vector<SlotBudget> budgets_;
  std::vector<std::vector<std::vector<Draw>>> draws_;
  std::vector<std::int64_t> left_;
  std::vector<double> part_per_unit_;
  std::vector<std::vector<Amount>> amounts_now_;
  std::vector<std::vector<std::vector<Amount>>> amounts_;
  std::vector<std::vector<std::int64_t>> freed_;                     ///< [budget][changes]
  std::vector<std::vector<std::vector<std::int64_t>>> least_draws_;  ///< [budget][plane][changes]
  std::vector<std::vector<double>> freed_elsewhere_;                 ///< [budget][plane]
  std::vector<std::vector<ChosenOption>> taken_;
  int least_difference_ = 1;
};

/// What the rules still ask for while a choice is being built. Changes must be undone last first.
///
/// A pair broken by a change and a slot not changed yet makes that slot needed: it must change before the
/// choice is complete. A pair broken by two changes cannot be mended.
class RuleLedger {
 public:
  explicit RuleLedger(const Rules& rules, const std::vector<bool>& changeable);

  void fit(int slot, int option);
  void undo(int slot, int option);
  /// Whether `changes_left` further changes could mend what is broken.
  [[nodiscard]] bool can_mend(std::size_t changes_left) const;
  [[nodiscard]] bool needed(int slot) const {
    return reasons_[static_cast<std::size_t>(slot)] > 0 && !changed_[static_cast<std::size_t>(slot)];
  }
  [[nodiscard]] std::size_t needed_in(int plane) const { return needed_in_[static_cast<std::size_t>(plane)]; }
  /// Whether a partner in the same plane, in a slot before this one, is needed: where slots are changed in
  /// order, it is too late for it.
  [[nodiscard]] bool needs_earlier_partner(int slot) const;
  /// What is left of each budget.
  [[nodiscard]] const std::vector<std::int64_t>& left() const { return left_; }

 private:
  void count_needed(int slot, int by);
  void meet_partners(int slot, int content, int by);

  const Rules* rules_;
  std::vector<bool> changeable_, changed_;
  std::vector<int> content_, reasons_;
  std::vector<std::size_t> needed_in_;
  std::vector<std::int64_t> left_;
  int needed_ = 0;
  int broken_ = 0;  ///< pairs broken as things stand
  int beyond_mending_ = 0;
};

}  // namespace trimwright::slots_detail

#include "rules.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numeric>

namespace trimwright::slots_detail {
namespace {

constexpr double kAllowance = 1e-9;      ///< relative, of a budget
constexpr double kUnitsInBudget = 1e12;  ///< resolution while building; the whole choice is judged in double

std::vector<int> sorted(std::vector<int> pieces) {
  std::sort(pieces.begin(), pieces.end());
  return pieces;
}

double largest_amount(const SlotBudget& budget) {
  double largest = 0.0;
  for (const SlotBudget::Term& term : budget.terms) {
    largest = std::max(largest, std::abs(term.now));
    for (const double amount : term.options) largest = std::max(largest, std::abs(amount));
  }
  return largest;
}

double size_of(const SlotBudget& budget) { return std::max(std::abs(budget.limit), largest_amount(budget)); }

}  // namespace

Rules::Rules(const SlotProblem& problem)
    : pairs_(problem.pairs),
      budgets_(problem.budgets),
      taken_(problem.taken),
      least_difference_(problem.least_difference) {
  partners_.resize(problem.slots.size());
  for (const SlotPair& pair : pairs_) {
    partners_[at(pair.first)].push_back({pair.second, pair.rule});
    partners_[at(pair.second)].push_back({pair.first, pair.rule});
  }
  number_contents(problem);
  lay_out_budgets(problem);
  any_ = !pairs_.empty() || !budgets_.empty();
  for (const SearchSlot& slot : problem.slots) {
    planes_.push_back(slot.plane);
    must_change_.push_back(slot.must_change);
    any_ = any_ || slot.must_change;
  }
}

void Rules::number_contents(const SlotProblem& problem) {
  std::map<std::vector<int>, int> numbers{{{}, 0}};
  const auto number = [&](const std::vector<int>& pieces) {
    return numbers.emplace(sorted(pieces), static_cast<int>(numbers.size())).first->second;
  };
  for (const SearchSlot& slot : problem.slots) {
    now_.push_back(number(slot.holds));
    contents_.emplace_back();
    for (const SlotOption& option : slot.options) contents_.back().push_back(number(option.pieces));
  }
}

void Rules::lay_out_budgets(const SlotProblem& problem) {
  for (const SearchSlot& slot : problem.slots) {
    draws_.emplace_back(slot.options.size());
    amounts_.emplace_back(slot.options.size());
  }
  amounts_now_.resize(problem.slots.size());
  for (std::size_t b = 0; b < budgets_.size(); ++b) {
    const SlotBudget& budget = budgets_[b];
    const bool endless = !std::isfinite(budget.limit);
    const double size = size_of(budget);
    const double unit = size > 0.0 && std::isfinite(size) ? size / kUnitsInBudget : 1.0;
    const double largest = largest_amount(budget);
    const double part_size = largest > 0.0 ? largest : 1.0;
    part_per_unit_.push_back(unit / part_size);
    double left = endless ? 0.0 : budget.limit;
    for (const SlotBudget::Term& term : budget.terms) {
      if (endless) break;
      left -= term.now;
      if (term.now != 0.0) amounts_now_[at(term.slot)].push_back({b, term.now / part_size});
      for (std::size_t option = 0; option < term.options.size(); ++option) {
        const auto units = static_cast<std::int64_t>(std::floor((term.options[option] - term.now) / unit));
        if (units != 0) draws_[at(term.slot)][option].push_back({b, units});
        const double amount = term.options[option];
        if (amount != 0.0) amounts_[at(term.slot)][option].push_back({b, amount / part_size});
      }
    }
    const double allowance = 2.0 * kAllowance * size;
    left_.push_back(static_cast<std::int64_t>(std::ceil((left + allowance) / unit)) + 1);
  }
  sum_up_draws(problem);
}

/// The least that so many changes draw: each slot at its least.
void Rules::sum_up_draws(const SlotProblem& problem) {
  std::size_t planes = 0;
  for (const SearchSlot& slot : problem.slots) planes = std::max(planes, at(slot.plane) + 1);
  const auto sums_of = [](std::vector<std::int64_t> least) {
    std::sort(least.begin(), least.end());
    least.insert(least.begin(), 0);
    std::partial_sum(least.begin(), least.end(), least.begin());
    return least;
  };
  for (std::size_t b = 0; b < budgets_.size(); ++b) {
    std::vector<std::vector<std::int64_t>> least(planes);
    std::vector<std::int64_t> freed, most_freed(planes, 0);
    for (std::size_t s = 0; s < problem.slots.size(); ++s) {
      if (problem.slots[s].options.empty()) continue;
      std::int64_t here = std::numeric_limits<std::int64_t>::max();
      for (const std::vector<Draw>& draws : draws_[s]) {
        const auto its =
            std::find_if(draws.begin(), draws.end(), [&](const Draw& draw) { return draw.budget == b; });
        here = std::min(here, its == draws.end() ? 0 : its->units);
      }
      const std::size_t plane = at(problem.slots[s].plane);
      least[plane].push_back(here);
      freed.push_back(std::min<std::int64_t>(0, here));
      most_freed[plane] = std::max(most_freed[plane], -here);
    }
    freed_.push_back(sums_of(std::move(freed)));
    for (std::int64_t& sum : freed_.back()) sum = -sum;
    least_draws_.emplace_back();
    freed_elsewhere_.emplace_back();
    for (std::size_t p = 0; p < planes; ++p) {
      least_draws_.back().push_back(sums_of(std::move(least[p])));
      std::int64_t most = 0;
      for (std::size_t q = 0; q < planes; ++q) most = q == p ? most : std::max(most, most_freed[q]);
      freed_elsewhere_.back().push_back(part_of(b, most));
    }
  }
}

bool Rules::can_pay(const std::vector<std::size_t>& changes_of_plane) const {
  for (std::size_t b = 0; b < left_.size(); ++b) {
    std::int64_t drawn = 0;
    for (std::size_t p = 0; p < least_draws_[b].size(); ++p) {
      const std::vector<std::int64_t>& sums = least_draws_[b][p];
      drawn += sums[std::min(p < changes_of_plane.size() ? changes_of_plane[p] : 0, sums.size() - 1)];
    }
    if (drawn > left_[b]) return false;
  }
  return true;
}

bool Rules::keeps(const std::vector<ChosenOption>& choice) const {
  if (any_) {
    for (std::size_t slot = 0; slot < must_change_.size(); ++slot) {
      if (!must_change_[slot]) continue;
      const bool changes = std::any_of(choice.begin(), choice.end(),
                                       [&](const ChosenOption& one) { return at(one.slot) == slot; });
      if (!changes) return false;
    }
  }
  return keeps_pairs(choice) && keeps_budgets(choice) && differs_from_taken(choice);
}

bool Rules::keeps_pairs(const std::vector<ChosenOption>& choice) const {
  if (pairs_.empty()) return true;
  std::vector<int> contents = now_;
  for (const ChosenOption& one : choice) contents[at(one.slot)] = content(one.slot, one.option);
  return std::none_of(pairs_.begin(), pairs_.end(), [&](const SlotPair& pair) {
    return broken(pair.rule, contents[at(pair.first)], contents[at(pair.second)]);
  });
}

bool Rules::keeps_budgets(const std::vector<ChosenOption>& choice) const {
  for (const SlotBudget& budget : budgets_) {
    double sum = 0.0;
    for (const SlotBudget::Term& term : budget.terms) {
      const auto changed = std::find_if(choice.begin(), choice.end(),
                                        [&](const ChosenOption& one) { return one.slot == term.slot; });
      sum += changed == choice.end() ? term.now : term.options[at(changed->option)];
    }
    if (sum > budget.limit + kAllowance * size_of(budget)) return false;
  }
  return true;
}

/// Counts the slots that end up with different contents.
bool Rules::differs_from_taken(const std::vector<ChosenOption>& choice) const {
  for (const std::vector<ChosenOption>& other : taken_) {
    std::size_t same_slot = 0;
    std::size_t same_content = 0;
    for (const ChosenOption& one : choice) {
      for (const ChosenOption& its : other) {
        if (one.slot != its.slot) continue;
        ++same_slot;
        if (one.option == its.option) ++same_content;
      }
    }
    const std::size_t differ = choice.size() + other.size() - same_slot - same_content;
    if (differ < at(least_difference_)) return false;
  }
  return true;
}

RuleLedger::RuleLedger(const Rules& rules, const std::vector<bool>& changeable)
    : rules_(&rules), changeable_(changeable), left_(rules.left()) {
  if (!rules.any()) return;
  const std::size_t slots = rules.slots();
  changed_.assign(slots, false);
  reasons_.assign(slots, 0);
  int planes = 0;
  for (int s = 0; s < static_cast<int>(slots); ++s) planes = std::max(planes, rules.plane(s) + 1);
  needed_in_.assign(static_cast<std::size_t>(planes), 0);
  for (int s = 0; s < static_cast<int>(slots); ++s) content_.push_back(rules.content_now(s));
  for (int s = 0; s < static_cast<int>(slots); ++s) {
    const auto slot = static_cast<std::size_t>(s);
    for (const Rules::Partner& partner : rules.partners(s)) {
      if (partner.slot < s ||
          !Rules::broken(partner.rule, content_[slot], content_[static_cast<std::size_t>(partner.slot)]))
        continue;
      ++broken_;
      const auto other = static_cast<std::size_t>(partner.slot);
      if (!changeable_[slot] && !changeable_[other]) ++beyond_mending_;
      if (changeable_[slot] && !changeable_[other] && reasons_[slot]++ == 0) count_needed(s, 1);
      if (!changeable_[slot] && changeable_[other] && reasons_[other]++ == 0) count_needed(partner.slot, 1);
    }
    if (!rules.must_change(s)) continue;
    if (!changeable_[slot]) ++beyond_mending_;
    if (changeable_[slot] && reasons_[slot]++ == 0) count_needed(s, 1);
  }
}

void RuleLedger::count_needed(int slot, int by) {
  needed_ += by;
  std::size_t& here = needed_in_[static_cast<std::size_t>(rules_->plane(slot))];
  here = by > 0 ? here + 1 : here - 1;
}

/// What the pairs of a slot that now holds `content` ask for (by = 1), or no longer ask for (by = -1).
void RuleLedger::meet_partners(int slot, int content, int by) {
  for (const Rules::Partner& partner : rules_->partners(slot)) {
    const auto other = static_cast<std::size_t>(partner.slot);
    const int before = rules_->content_now(slot);
    if (Rules::broken(partner.rule, before, content_[other])) broken_ -= by;
    if (!Rules::broken(partner.rule, content, content_[other])) continue;
    broken_ += by;
    if (changed_[other] || !changeable_[other]) {
      beyond_mending_ += by;
    } else {
      reasons_[other] += by;
      if (by > 0 ? reasons_[other] == 1 : reasons_[other] == 0) count_needed(partner.slot, by);
    }
  }
}

void RuleLedger::fit(int slot, int option) {
  const auto s = static_cast<std::size_t>(slot);
  if (reasons_[s] > 0) count_needed(slot, -1);
  changed_[s] = true;
  const int content = rules_->content(slot, option);
  meet_partners(slot, content, 1);
  content_[s] = content;
  for (const Rules::Draw& draw : rules_->draws(slot, option)) left_[draw.budget] -= draw.units;
}

void RuleLedger::undo(int slot, int option) {
  const auto s = static_cast<std::size_t>(slot);
  for (const Rules::Draw& draw : rules_->draws(slot, option)) left_[draw.budget] += draw.units;
  meet_partners(slot, content_[s], -1);
  content_[s] = rules_->content_now(slot);
  changed_[s] = false;
  if (reasons_[s] > 0) count_needed(slot, 1);
}

bool RuleLedger::can_mend(std::size_t changes_left) const {
  if (beyond_mending_ > 0 || needed_ > static_cast<int>(changes_left)) return false;
  if (changes_left == 0 && broken_ > 0) return false;
  for (std::size_t b = 0; b < left_.size(); ++b) {
    if (left_[b] + rules_->freed(b, changes_left) < 0) return false;
  }
  return true;
}

bool RuleLedger::needs_earlier_partner(int slot) const {
  const std::vector<Rules::Partner>& partners = rules_->partners(slot);
  return std::any_of(partners.begin(), partners.end(), [&](const Rules::Partner& partner) {
    return partner.slot < slot && rules_->plane(partner.slot) == rules_->plane(slot) && needed(partner.slot);
  });
}

}  // namespace trimwright::slots_detail

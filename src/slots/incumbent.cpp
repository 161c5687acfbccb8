#include "incumbent.hpp"

#include <algorithm>
#include <cmath>

namespace trimwright::slots_detail {
namespace {

constexpr double kFewerChangesWin =
    kTie * (1.0 - 1e-5);                   ///< a choice with more changes must be better by this
constexpr double kStrictlyBetter = 1e-10;  ///< one with as many changes, by this

double square_with_sign(double x) { return x > 0.0 ? x * x : -1.0; }

}  // namespace

void Contest::improve(const Picks& picks) {
  const Score s = score(*model_, picks);
  if (found_ && !(std::sqrt(model_->squared(s)) < value() - margin(picks.size()))) return;
  found_ = true;
  best_ = picks;
  score_ = s;
}

void Contest::inherit(const Contest& fewer) {
  if (!fewer.found_) return;
  const bool is_better =
      found_ && value() < fewer.value() - std::max(kFewerChangesWin * fewer.value(), rounding(*model_));
  if (is_better) return;
  found_ = true;
  best_ = fewer.best_;
  score_ = fewer.score_;
}

double Contest::margin(std::size_t changes) const {
  const bool more = changes > best_.size();
  return std::max((more ? kFewerChangesWin : kStrictlyBetter) * value(),
                  (more ? 1.0 : 0.1) * rounding(*model_));
}

double Contest::goal2(std::size_t changes) const {
  if (!found_) return std::numeric_limits<double>::infinity();
  const double gap = std::max(options_->relative_gap * value(), options_->absolute_gap);
  return square_with_sign(value() - std::max(gap, margin(changes)));
}

void Contest::look_for_better(std::size_t changes, double limit2) {
  kind_ = Kind::better;
  changes_ = changes;
  limit2_ = std::min(limit2, goal2(changes));
  sum_limit2_ = std::numeric_limits<double>::infinity();
}

void Contest::look_for_tied() {
  kind_ = Kind::tied;
  const double edge = value() + std::max(kTie * value(), rounding(*model_));
  limit2_ = edge * edge;
  watch_sum();
}

void Contest::watch_sum() {
  if (watches_sum()) sum_limit2_ = score_.sum2 * (1.0 + 2.0 * kTie) + zero2(*model_);
}

void Contest::offer(Picks picks) {
  sort_picks(*model_, picks);
  const Score s = score(*model_, picks);
  const double value2 = model_->squared(s);
  if (kind_ == Kind::better) {
    if (!(value2 < limit2_) || !keeps_rules(*model_, picks)) return;
    found_ = true;
    best_ = std::move(picks);
    score_ = s;
    limit2_ = std::min(limit2_, goal2(changes_));
    return;
  }
  if (value2 > limit2_ || !keeps_rules(*model_, picks)) return;
  if (compare_tied(*model_, picks, s, best_, score_) >= 0) return;
  best_ = std::move(picks);
  score_ = s;
  watch_sum();
}

}  // namespace trimwright::slots_detail

#include "slot_start.hpp"

#include <optional>

namespace trimwright::slots_detail {
namespace {

constexpr int kRounds = 4;

/// One choice being changed entry by entry.
class Neighbourhood {
 public:
  Neighbourhood(const Model& model, Deadline& deadline) : model_(model), deadline_(deadline) {}

  /// The entry that, added to `base`, makes the smallest objective squared below `below2`.
  std::optional<Pick> best_addition(const Picks& base, double below2) {
    rows_of(model_, base, re_, im_);
    StockLedger ledger(model_);
    for (const Pick& pick : base) ledger.fit(model_.entry(pick));
    best2_ = below2;
    std::optional<Pick> best;
    for (std::size_t p = 0; p < model_.planes.size(); ++p) {
      const PlaneModel& plane = model_.planes[p];
      std::vector<bool> taken(plane.slots(), false);
      for (const Pick& pick : base) {
        if (pick.plane == p) taken[model_.entry(pick).slot] = true;
      }
      for (std::uint32_t e = 0; e < plane.entries.size(); ++e) {
        const Entry& entry = plane.entries[e];
        if (deadline_.passed()) return best;
        if (taken[entry.slot] || !improves(plane, entry.change)) continue;
        ledger.fit(entry);
        const bool fits = ledger.balanced();
        ledger.undo(entry);
        if (!fits || !keeps(base, p, e)) continue;
        best2_ = last2_;
        best = Pick{p, e};
      }
    }
    return best;
  }
  [[nodiscard]] double best2() const { return best2_; }

 private:
  [[nodiscard]] bool keeps(Picks picks, std::size_t p, std::uint32_t e) const {
    picks.push_back({p, e});
    return keeps_limits(model_, picks);
  }

  bool improves(const PlaneModel& plane, Complex u) {
    last2_ = 0.0;
    for (Eigen::Index i = 0; i < re_.size(); ++i) {
      const double re = re_[i] + plane.re[i] * u.real() - plane.im[i] * u.imag();
      const double im = im_[i] + plane.re[i] * u.imag() + plane.im[i] * u.real();
      const double square = re * re + im * im;
      last2_ = model_.least_squares ? last2_ + square : std::max(last2_, square);
      if (!(last2_ < best2_)) return false;
    }
    return true;
  }

  const Model& model_;
  Deadline& deadline_;
  ArrayXd re_, im_;
  double last2_ = 0.0;
  double best2_ = 0.0;
};

/// Replaces one change at a time while that helps.
void replace_one_by_one(const Model& model, Neighbourhood& near, Contest& contest, Deadline& deadline) {
  for (int round = 0; round < kRounds; ++round) {
    const double before2 = contest.best2();
    for (std::size_t i = 0; i < contest.best().size() && !deadline.passed(); ++i) {
      Picks picks = contest.best();
      picks.erase(picks.begin() + static_cast<std::ptrdiff_t>(i));
      const std::optional<Pick> added = near.best_addition(picks, contest.best2());
      if (!added) continue;
      picks.push_back(*added);
      sort_picks(model, picks);
      contest.improve(picks);
    }
    if (!(contest.best2() < before2)) return;
  }
}

}  // namespace

void start_from_fewer(const Model& model, std::size_t changes, Contest& contest, Deadline& deadline) {
  if (deadline.passed_now()) return;
  Neighbourhood near(model, deadline);
  Picks picks = contest.best();
  if (picks.size() < changes) {
    const std::optional<Pick> added = near.best_addition(picks, contest.best2());
    if (!added) return;
    picks.push_back(*added);
    sort_picks(model, picks);
    contest.improve(picks);
  }
  replace_one_by_one(model, near, contest, deadline);
}

}  // namespace trimwright::slots_detail

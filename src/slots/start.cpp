#include "start.hpp"

namespace trimwright::slots_detail {
namespace {

constexpr int kRounds = 4;

/// One choice being changed entry by entry.
class Neighbourhood {
 public:
  Neighbourhood(const Model& model, Deadline& deadline) : model_(model), deadline_(deadline) {}

  /// The entry that, added to `base`, makes the smallest objective squared below `below2`; with the entry it
  /// needs beside it, where there is room for two.
  Picks best_addition(const Picks& base, std::size_t room, double below2) {
    rows_of(model_, base, re_, im_);
    Ledger ledger(model_);
    for (const Pick& pick : base) ledger.fit(model_.entry(pick));
    best2_ = below2;
    best_.clear();
    for (std::size_t p = 0; p < model_.planes.size(); ++p) {
      const PlaneModel& plane = model_.planes[p];
      taken_.assign(plane.slots(), false);
      for (const Pick& pick : base) {
        if (pick.plane == p) taken_[model_.entry(pick).slot] = true;
      }
      for (std::uint32_t e = 0; e < plane.entries.size(); ++e) {
        const Entry& entry = plane.entries[e];
        if (deadline_.passed()) return best_;
        if (taken_[entry.slot]) continue;
        if (!ledger.has_rules() && !improves(plane, entry.change)) continue;
        ledger.fit(entry);
        if (ledger.balanced()) {
          take_if_better(base, plane, entry.change, {{p, e}});
        } else if (room >= 2 && ledger.has_rules() && ledger.rules().needed_in(plane.problem_plane) == 1) {
          add_needed(base, plane, e, ledger);
        }
        ledger.undo(entry);
      }
    }
    return best_;
  }

 private:
  void add_needed(const Picks& base, const PlaneModel& plane, std::uint32_t first, Ledger& ledger) {
    std::size_t s = 0;
    while (s < plane.slots() && !ledger.rules().needed(plane.entries[plane.slot_begin[s]].problem_slot)) ++s;
    if (s == plane.slots()) return;
    for (std::uint32_t e = plane.slot_begin[s]; e < plane.slot_begin[s + 1]; ++e) {
      const Entry& entry = plane.entries[e];
      ledger.fit(entry);
      if (ledger.balanced()) {
        take_if_better(base, plane, plane.entries[first].change + entry.change,
                       {{plane.index, first}, {plane.index, e}});
      }
      ledger.undo(entry);
    }
  }

  void take_if_better(const Picks& base, const PlaneModel& plane, Complex change, const Picks& added) {
    if (!improves(plane, change)) return;
    const double value2 = last2_;
    Picks picks = base;
    picks.insert(picks.end(), added.begin(), added.end());
    if (!keeps_rules(model_, picks)) return;
    best2_ = value2;
    best_ = added;
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
  std::vector<bool> taken_;
  double last2_ = 0.0;
  double best2_ = 0.0;
  Picks best_;
};

/// Adds to `picks` what helps most; false when nothing does.
bool extend(const Model& model, Neighbourhood& near, std::size_t room, double below2, Picks& picks) {
  const Picks added = near.best_addition(picks, room, below2);
  picks.insert(picks.end(), added.begin(), added.end());
  sort_picks(model, picks);
  return !added.empty();
}

/// Replaces one change at a time while that helps.
void replace_one_by_one(const Model& model, std::size_t changes, Neighbourhood& near, Contest& contest,
                        Deadline& deadline) {
  for (int round = 0; round < kRounds; ++round) {
    const double before2 = contest.best2();
    for (std::size_t i = 0; i < contest.best().size() && !deadline.passed(); ++i) {
      Picks picks = contest.best();
      picks.erase(picks.begin() + static_cast<std::ptrdiff_t>(i));
      const std::size_t room = changes - picks.size();
      if (extend(model, near, room, contest.best2(), picks)) contest.improve(picks);
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
    if (!extend(model, near, changes - picks.size(), contest.best2(), picks)) return;
    contest.improve(picks);
  }
  replace_one_by_one(model, changes, near, contest, deadline);
}

}  // namespace trimwright::slots_detail

#pragma once

#include <utility>
#include <vector>

#include "edge.hpp"
#include "tables.hpp"
#include "trimwright/slot_search.hpp"

namespace trimwright::slots_detail {

/// Which sums of n changes in one plane to visit.
struct SumQuery {
  std::size_t n = 0;
  Complex centre;
  const double* radius = nullptr;     ///< may shrink while visiting
  const Region* region = nullptr;     ///< the sum must lie in it as well; may shrink while visiting
  const Focus* focus = nullptr;       ///< the region's watched direction
  std::size_t changes_elsewhere = 0;  ///< still to be chosen in other planes: they may give pieces back
};

/// Visits all sums of n changes in different slots of a plane that lie in a disc and a region and that the
/// stock allows. (The region only helps to skip: sums just outside may be visited.)
///
/// One and two changes come from the tables; of more, the change in the lowest slot is fixed, skipped when
/// the rest cannot reach the disc, and the rest is asked for in higher slots.
/// `Visit`: bool(Complex sum, const std::vector<std::uint32_t>& entries), false to stop.
template <class Visit>
class SumVisitor {
 public:
  SumVisitor(const PlaneTables& tables, const SumQuery& query, const Ledger& ledger, Deadline& deadline,
             Patience& patience, Visit& visit)
      : tables_(tables),
        query_(query),
        ledger_(ledger),
        deadline_(deadline),
        patience_(patience),
        visit_(visit) {
    entries_.resize(query.n);
  }

  /// False when stopped by the visitor or the deadline.
  bool run() { return walk(query_.n, 0, 0.0, {}); }

 private:
  [[nodiscard]] const Entry& entry(std::uint32_t e) const { return tables_.plane->entries[e]; }

  /// Whether `sum` and `n` more changes from `first_slot` on could end in the region: no direction separates
  /// them, looked for from the direction of the centre uphill.
  [[nodiscard]] bool can_reach(std::size_t n, std::size_t first_slot, Complex sum) {
    constexpr std::size_t kAll = Reach::kDirections;
    ledger_.obtainable(tables_.plane, query_.changes_elsewhere, obtainable_);
    if (query_.focus != nullptr) {
      const Complex d = query_.focus->direction();
      const double wanted = query_.region->watched_extent() - (d.real() * sum.real() + d.imag() * sum.imag());
      if (wanted > query_.focus->height(n, first_slot, obtainable_, patience_)) return false;
    }
    const auto lacking = [&](std::size_t k) {
      const Complex d = directions_[k];
      return query_.region->extent(k) - (d.real() * sum.real() + d.imag() * sum.imag()) -
             tables_.reach.height(n, first_slot, k, obtainable_);
    };
    std::size_t k = Reach::range_of(query_.centre - sum);
    double most = lacking(k);
    if (most > 0.0) return false;
    for (const std::size_t turn : {std::size_t{1}, kAll - 1}) {
      bool climbed = false;
      for (std::size_t next = (k + turn) % kAll;; next = (next + turn) % kAll) {
        const double there = lacking(next);
        if (there > 0.0) return false;
        if (!(there > most)) break;
        most = there;
        k = next;
        climbed = true;
      }
      if (climbed) break;
    }
    return true;
  }

  /// `worth`: of the entries fixed so far, by `edge_`.
  bool walk(std::size_t n, std::size_t first_slot, Complex sum, const Edge::Worth& worth) {
    if (deadline_.passed()) return false;
    if (ledger_.has_rules()) {
      const std::size_t needed = needed_here();
      if (needed > n) return true;
      if (needed == n) return only_needed(n, first_slot, sum, worth);
    }
    if (n == 1) return one(first_slot, sum);
    if (n == 2) {
      const PointGrid* pairs = tables_.pairs ? tables_.pairs->ask(patience_) : nullptr;
      return pairs != nullptr ? two(*pairs, first_slot, sum) : nested_two(first_slot, sum);
    }
    if (n == 3) {
      const PointGrid* triples = tables_.triples.after(std::exchange(work_, 0), patience_);
      if (triples != nullptr) return three(*triples, first_slot, sum);
    }
    if (n == query_.n) {
      ledger_.obtainable(tables_.plane, query_.changes_elsewhere, obtainable_);
      edge_.find(tables_, *query_.region, n, obtainable_);
    }
    return more(n, first_slot, sum, worth);
  }

  bool one(std::size_t first_slot, Complex sum) {
    return tables_.singles.visit(query_.centre - sum, *query_.radius, [&](std::uint32_t e) {
      const Entry& last = entry(e);
      if (last.slot < first_slot) return true;
      entries_.back() = e;
      ledger_.fit(last);
      const bool fits = complete_here();
      const bool go_on = !fits || visit_(sum + last.change, entries_);
      ledger_.undo(last);
      return go_on;
    });
  }

  bool two(const PointGrid& pairs, std::size_t first_slot, Complex sum) {
    const std::uint32_t first = tables_.plane->slot_begin[first_slot];
    const std::uint64_t left = tables_.stock.left(ledger_.left());
    const int may_miss = ledger_.may_miss(query_.changes_elsewhere);
    return pairs.visit(query_.centre - sum, *query_.radius, [&](std::uint32_t id) {
      const std::uint32_t e = lower_of_pair(id);
      const std::uint32_t f = higher_of_pair(id);
      if (e < first || tables_.stock.lacks(left + tables_.gives[e] + tables_.gives[f], may_miss)) return true;
      const Entry& low = entry(e);
      const Entry& high = entry(f);
      entries_[query_.n - 2] = e;
      entries_[query_.n - 1] = f;
      ledger_.fit(low);
      ledger_.fit(high);
      const bool fits = complete_here();
      const bool go_on = !fits || visit_(sum + (low.change + high.change), entries_);
      ledger_.undo(high);
      ledger_.undo(low);
      return go_on;
    });
  }

  bool three(const PointGrid& triples, std::size_t first_slot, Complex sum) {
    const std::uint64_t first_id = tables_.triples.first_id(tables_.plane->slot_begin[first_slot]);
    const std::uint64_t left = tables_.stock.left(ledger_.left());
    const int may_miss = ledger_.may_miss(query_.changes_elsewhere);
    return triples.visit(query_.centre - sum, *query_.radius, [&](std::uint32_t id) {
      if (id < first_id) return true;
      const auto ids = tables_.triples.entries_of(id);
      const auto& gives = tables_.gives;
      if (tables_.stock.lacks(left + gives[ids[0]] + gives[ids[1]] + gives[ids[2]], may_miss)) return true;
      return three_fit(ids, sum);
    });
  }
  bool three_fit(const std::array<std::uint32_t, 3>& ids, Complex sum) {
    Complex all = sum;
    for (std::size_t i = 0; i < 3; ++i) {
      entries_[query_.n - 3 + i] = ids[i];
      all += entry(ids[i]).change;
      ledger_.fit(entry(ids[i]));
    }
    const bool go_on = !complete_here() || visit_(all, entries_);
    for (std::size_t i = 3; i-- > 0;) ledger_.undo(entry(ids[i]));
    return go_on;
  }

  bool nested_two(std::size_t first_slot, Complex sum) {
    const auto entries = static_cast<std::uint32_t>(tables_.plane->entries.size());
    const Disc& one = tables_.reach.disc(1);
    const Complex wanted = query_.centre - sum - one.centre;
    for (std::uint32_t e = tables_.plane->slot_begin[first_slot]; e < entries; ++e) {
      const Entry& low = entry(e);
      const double near = (*query_.radius + one.radius) * (1.0 + 1e-9);
      if (std::norm(wanted - low.change) > near * near) continue;
      if (!fix(low, e, 1, sum, {})) return false;
    }
    return true;
  }

  bool more(std::size_t n, std::size_t first_slot, Complex sum, const Edge::Worth& worth) {
    const std::size_t slots = tables_.plane->slots();
    for (std::size_t s = first_slot; s + n <= slots; ++s) {
      if (!edge_.within(worth, n, s, *query_.region) || !can_reach(n, s, sum)) break;
      for (std::uint32_t e = tables_.plane->slot_begin[s]; e < tables_.plane->slot_begin[s + 1]; ++e) {
        const Edge::Worth with = edge_.with(worth, e);
        if (!edge_.within(with, n - 1, s + 1, *query_.region)) continue;
        if (!fix(entry(e), e, n - 1, sum, with)) return false;
      }
      if (is_needed(s)) break;
    }
    return true;
  }

  /// As many slots must change as changes are left: only these.
  bool only_needed(std::size_t n, std::size_t first_slot, Complex sum, const Edge::Worth& worth) {
    std::size_t s = first_slot;
    while (s < tables_.plane->slots() && !is_needed(s)) ++s;
    if (s == tables_.plane->slots()) return true;
    for (std::uint32_t e = tables_.plane->slot_begin[s]; e < tables_.plane->slot_begin[s + 1]; ++e) {
      const Entry& lowest = entry(e);
      if (n == 1 ? !last_needed(lowest, e, sum) : !fix(lowest, e, n - 1, sum, edge_.with(worth, e)))
        return false;
    }
    return true;
  }

  bool last_needed(const Entry& last, std::uint32_t e, Complex sum) {
    const double off = std::abs(sum + last.change - query_.centre);
    const double slack = 1e-9 * (std::abs(sum) + std::abs(last.change) + std::abs(query_.centre));
    if (off > *query_.radius + slack) return true;
    entries_.back() = e;
    ledger_.fit(last);
    const bool go_on = !complete_here() || visit_(sum + last.change, entries_);
    ledger_.undo(last);
    return go_on;
  }

  [[nodiscard]] std::size_t needed_here() const {
    return ledger_.rules().needed_in(tables_.plane->problem_plane);
  }
  [[nodiscard]] bool is_needed(std::size_t s) const {
    return ledger_.has_rules() && ledger_.rules().needed(entry(tables_.plane->slot_begin[s]).problem_slot);
  }
  /// Whether nothing is asked of this plane any more and the rest can come from the others.
  [[nodiscard]] bool complete_here() const {
    return ledger_.can_balance(query_.changes_elsewhere) && (!ledger_.has_rules() || needed_here() == 0);
  }

  /// Fixes one entry and asks for `rest` more in higher slots.
  bool fix(const Entry& lowest, std::uint32_t e, std::size_t rest, Complex sum, const Edge::Worth& worth) {
    if (rest == 2) ++work_;
    entries_[query_.n - rest - 1] = e;
    ledger_.fit(lowest);
    const bool fits = ledger_.can_balance(rest + query_.changes_elsewhere) &&
                      (!ledger_.has_rules() || !ledger_.rules().needs_earlier_partner(lowest.problem_slot));
    // Only now: what this change takes and gives back counts for the rest. (Asking a table is as cheap.)
    const bool tabulated = rest == 3 && tables_.triples.worth_while(patience_);
    const bool go_on = !fits || !(tabulated || can_reach(rest, lowest.slot + 1, sum + lowest.change)) ||
                       walk(rest, lowest.slot + 1, sum + lowest.change, worth);
    ledger_.undo(lowest);
    return go_on;
  }

  const PlaneTables& tables_;
  const Reach::Directions& directions_ = Reach::directions();
  SumQuery query_;
  Ledger ledger_;
  Deadline& deadline_;
  Patience& patience_;
  Visit& visit_;
  std::vector<std::uint32_t> entries_;
  std::vector<double> obtainable_;
  Edge edge_;
  std::uint64_t work_ = 0;
};

template <class Visit>
bool visit_sums(const PlaneTables& tables, const SumQuery& query, const Ledger& ledger, Deadline& deadline,
                Patience& patience, Visit&& visit) {
  return SumVisitor<std::remove_reference_t<Visit>>(tables, query, ledger, deadline, patience, visit).run();
}

}  // namespace trimwright::slots_detail

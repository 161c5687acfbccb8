#include "edge.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kApart = Reach::kDirections / 8;

/// What n changes reach at these prices; `spare` becomes what the choice that attains it leaves of each
/// piece.
double reached(const PlaneTables& tables, const SlotValues& values, std::size_t n,
               const std::vector<int>& available, const std::vector<double>& prices,
               std::vector<double>& spare) {
  const std::vector<double> cost = kind_prices(tables.kinds, prices);
  const ArrayXd best = values.best_at(prices);
  double sum = 0.0;
  for (std::size_t k = 0; k < prices.size(); ++k) sum += prices[k] * available[k];
  spare.assign(available.begin(), available.end());
  for (const std::size_t s : largest_of(best, n)) {
    sum += best[static_cast<Eigen::Index>(s)];
    std::size_t kind = 0;
    for (std::size_t other = 1; other < cost.size(); ++other) {
      if (values.value(s, other) - cost[other] > values.value(s, kind) - cost[kind]) kind = other;
    }
    for (const int piece : tables.kinds.pieces[kind]) spare[static_cast<std::size_t>(piece)] -= 1.0;
    const Entry& any = tables.plane->entries[tables.plane->slot_begin[s]];
    for (const int piece : tables.model->pieces_in(any.returns))
      spare[static_cast<std::size_t>(piece)] += 1.0;
  }
  return sum;
}

/// Prices at which n changes do not reach this far, or as little beyond as a few steps find (B. T. Polyak's
/// subgradient steps, USSR Computational Mathematics and Mathematical Physics 9, 1969, from memory).
void settle_below(const PlaneTables& tables, const SlotValues& values, std::size_t n,
                  const std::vector<int>& available, double extent, std::vector<double>& prices) {
  constexpr int kSteps = 16;
  if (prices.empty() || n > values.slots()) return;
  std::vector<double> trial = prices;
  std::vector<double> spare;
  double least = std::numeric_limits<double>::infinity();
  for (int step = 0; step < kSteps; ++step) {
    const double now = reached(tables, values, n, available, trial, spare);
    if (now < least) {
      least = now;
      prices = trial;
    }
    double norm2 = 0.0;
    for (std::size_t k = 0; k < trial.size(); ++k) {
      if (trial[k] <= 0.0 && spare[k] > 0.0) spare[k] = 0.0;
      norm2 += spare[k] * spare[k];
    }
    if (now < extent || norm2 == 0.0) return;
    const double length = (now - extent) / norm2;
    for (std::size_t k = 0; k < trial.size(); ++k) trial[k] = std::max(0.0, trial[k] - length * spare[k]);
  }
}

}  // namespace

void Edge::find(const PlaneTables& tables, const Region& region, std::size_t n,
                const std::vector<int>& available) {
  used_ = 0;
  columns_ = tables.plane->slots() + 1;
  std::array<double, Reach::kDirections> room;
  for (std::size_t k = 0; k < room.size(); ++k)
    room[k] = tables.reach.along(n, 0, k, available) - region.extent(k);
  for (std::size_t i = 0; i < kMost; ++i) {
    const auto nearest = std::min_element(room.begin(), room.end());
    if (!std::isfinite(*nearest)) return;
    Direction& here = directions_[used_++];
    here.k = static_cast<std::size_t>(nearest - room.begin());
    look(tables, n, available, region.extent(here.k), here);
    if (!within({}, n, 0, region)) return;
    for (std::size_t away = 0; away <= kApart; ++away) {
      room[(here.k + away) % room.size()] = std::numeric_limits<double>::infinity();
      room[(here.k + room.size() - away) % room.size()] = std::numeric_limits<double>::infinity();
    }
  }
}

void Edge::look(const PlaneTables& tables, std::size_t n, const std::vector<int>& available, double extent,
                Direction& here) {
  const PlaneModel& plane = *tables.plane;
  const Complex d = Reach::directions()[here.k];
  const float* tabulated = tables.reach.prices(n, here.k);
  std::vector<double> prices(tabulated, tabulated + available.size());
  settle_below(tables, SlotValues(tables.kinds, d), n, available, extent, prices);
  double size = 0.0;
  here.paid = 0.0;
  for (std::size_t piece = 0; piece < available.size(); ++piece) {
    const double paid = prices[piece] * available[piece];
    here.paid += paid;
    size += std::abs(paid);
  }
  const std::vector<double> cost = kind_prices(tables.kinds, prices);
  here.worth.resize(plane.entries.size());
  here.best.assign((n + 1) * columns_, kNone);
  here.best[columns_ - 1] = 0.0;
  std::vector<double> largest;  // of the slots so far, falling
  for (std::size_t s = plane.slots(); s-- > 0;) {
    double returned = 0.0;
    for (const int piece : tables.model->pieces_in(plane.entries[plane.slot_begin[s]].returns))
      returned += prices[static_cast<std::size_t>(piece)];
    double best = kNone;
    for (std::uint32_t e = plane.slot_begin[s]; e < plane.slot_begin[s + 1]; ++e) {
      const Complex change = plane.entries[e].change;
      const double along = d.real() * change.real() + d.imag() * change.imag();
      here.worth[e] = along - cost[tables.kinds.of_entry[e]] + returned;
      best = std::max(best, here.worth[e]);
      size = std::max(size, std::abs(along));
    }
    largest.insert(std::upper_bound(largest.begin(), largest.end(), best, std::greater<>()), best);
    if (largest.size() > n) largest.pop_back();
    double sum = 0.0;
    here.best[s] = 0.0;
    for (std::size_t i = 0; i < largest.size(); ++i) {
      sum += largest[i];
      here.best[(i + 1) * columns_ + s] = sum;
    }
  }
  for (const double price : prices) size += price;
  here.paid += 1e-11 * size * static_cast<double>(n + 1);
}

}  // namespace trimwright::slots_detail

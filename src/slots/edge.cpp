#include "edge.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace trimwright::slots_detail {
namespace {

constexpr std::size_t kApart = Reach::kDirections / 8;

/// Prices at which n changes do not reach this far, or as little beyond as a few steps find (B. T. Polyak's
/// subgradient steps, USSR Computational Mathematics and Mathematical Physics 9, 1969, from memory).
void settle_below(const SlotValues& values, std::size_t n, const std::vector<double>& available,
                  double extent, std::vector<double>& prices) {
  constexpr int kSteps = 16;
  if (prices.empty() || n > values.slots()) return;
  std::vector<double> trial = prices;
  std::vector<double> spare;
  double least = std::numeric_limits<double>::infinity();
  for (int step = 0; step < kSteps; ++step) {
    const double now = reached(values, n, available, trial, spare);
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
                const std::vector<double>& available) {
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

void Edge::look(const PlaneTables& tables, std::size_t n, const std::vector<double>& available, double extent,
                Direction& here) {
  const PlaneModel& plane = *tables.plane;
  const Complex d = Reach::directions()[here.k];
  const float* tabulated = tables.reach.prices(n, here.k);
  std::vector<double> prices(tabulated, tabulated + available.size());
  const SlotValues values(tables.kinds, d);
  settle_below(values, n, available, extent, prices);
  double size = 0.0;
  here.paid = 0.0;
  for (std::size_t piece = 0; piece < available.size(); ++piece) {
    const double paid = prices[piece] * available[piece];
    here.paid += paid;
    size += std::abs(paid);
  }
  const std::vector<double> cost = kind_prices(tables.kinds, prices);
  here.worth.resize(plane.entries.size());
  for (std::size_t s = 0; s < plane.slots(); ++s) {
    const double returned = Kinds::cost(tables.kinds.returned[s], prices);
    for (std::uint32_t e = plane.slot_begin[s]; e < plane.slot_begin[s + 1]; ++e) {
      const Complex change = plane.entries[e].change;
      const double along = d.real() * change.real() + d.imag() * change.imag();
      here.worth[e] = along - cost[tables.kinds.of_entry[e]] + returned;
      size = std::max(size, std::abs(along));
    }
  }
  here.best = values.largest_sums(prices, n);
  for (const double price : prices) size += price;
  here.paid += 1e-11 * size * static_cast<double>(n + 1);
}

}  // namespace trimwright::slots_detail

#include "slot_prices.hpp"

#include <algorithm>
#include <limits>
#include <numeric>

namespace trimwright::slots_detail {
namespace {

constexpr double kNone = -std::numeric_limits<double>::infinity();
constexpr int kSweeps = 3;

/// The dual value: what the prices promise for n changes.
double promise(const SlotValues& values, const std::vector<int>& available, std::size_t n,
               const std::vector<double>& prices) {
  std::vector<double> best = values.best_at(prices);
  std::partial_sort(best.begin(), best.begin() + static_cast<std::ptrdiff_t>(n), best.end(),
                    std::greater<>());
  double sum = std::accumulate(best.begin(), best.begin() + static_cast<std::ptrdiff_t>(n), 0.0);
  for (std::size_t k = 0; k < prices.size(); ++k) sum += prices[k] * available[k];
  return sum;
}

/// The slots whose best offer is among the n best.
std::vector<std::size_t> best_slots(const SlotValues& values, std::size_t n,
                                    const std::vector<double>& prices) {
  const std::vector<double> best = values.best_at(prices);
  std::vector<std::size_t> slots(values.slots());
  std::iota(slots.begin(), slots.end(), std::size_t{0});
  std::partial_sort(slots.begin(), slots.begin() + static_cast<std::ptrdiff_t>(n), slots.end(),
                    [&](std::size_t a, std::size_t b) { return best[a] > best[b]; });
  slots.resize(n);
  return slots;
}

/// The price at which no more of these slots want the piece than it is available.
double clearing_price(const SlotValues& values, const std::vector<std::size_t>& slots, std::size_t piece,
                      std::size_t available, const std::vector<double>& prices) {
  if (available >= slots.size()) return 0.0;
  std::vector<double> worth;  // what a slot would pay rather than take something else
  for (const std::size_t s : slots) {
    double other = values.value(s, values.limited());
    for (std::size_t k = 0; k < values.limited(); ++k) {
      if (k != piece) other = std::max(other, values.value(s, k) - prices[k]);
    }
    if (values.value(s, piece) > kNone && other > kNone) worth.push_back(values.value(s, piece) - other);
  }
  if (worth.size() <= available) return 0.0;
  std::nth_element(worth.begin(), worth.begin() + static_cast<std::ptrdiff_t>(available), worth.end(),
                   std::greater<>());
  return std::max(0.0, worth[available]);
}

}  // namespace

SlotValues::SlotValues(const PlaneModel& plane, Complex direction, std::size_t limited)
    : slots_(plane.slots()), limited_(limited), values_(slots_ * (limited + 1), kNone) {
  for (const Entry& entry : plane.entries) {
    const std::size_t kind = entry.takes >= 0 ? static_cast<std::size_t>(entry.takes) : limited;
    double& value = values_[entry.slot * (limited + 1) + kind];
    value = std::max(value, direction.real() * entry.change.real() + direction.imag() * entry.change.imag());
  }
}

std::vector<double> SlotValues::best_at(const std::vector<double>& prices) const {
  std::vector<double> best(slots_, kNone);
  for (std::size_t s = 0; s < slots_; ++s) {
    best[s] = value(s, limited_);
    for (std::size_t k = 0; k < limited_; ++k) best[s] = std::max(best[s], value(s, k) - prices[k]);
  }
  return best;
}

void settle_prices(const SlotValues& values, const std::vector<int>& available, std::size_t n,
                   std::vector<double>& prices) {
  if (values.limited() == 0 || n > values.slots()) return;
  if (std::all_of(available.begin(), available.end(), [&](int a) { return a >= static_cast<int>(n); }))
    return;
  double least = promise(values, available, n, prices);
  std::vector<double> trial = prices;
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    const std::vector<std::size_t> slots = best_slots(values, n, trial);
    for (std::size_t piece = values.limited(); piece-- > 0;) {
      const auto there = static_cast<std::size_t>(std::max(0, available[piece]));
      trial[piece] = clearing_price(values, slots, piece, there, trial);
    }
    const double now = promise(values, available, n, trial);
    if (now >= least) continue;
    least = now;
    prices = trial;
  }
}

}  // namespace trimwright::slots_detail

#include "slot_prices.hpp"

#include <algorithm>
#include <limits>
#include <map>
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
double clearing_price(const SlotValues& values, const std::vector<std::size_t>& slots, int piece,
                      std::size_t available, const std::vector<double>& prices) {
  if (available >= slots.size()) return 0.0;
  const SlotValues::Kinds& kinds = values.kinds();
  std::vector<double> without = prices;
  without[static_cast<std::size_t>(piece)] = 0.0;
  const std::vector<double> cost = kind_prices(kinds, without);
  std::vector<double> worth;  // what a slot would pay rather than take something else
  for (const std::size_t s : slots) {
    double with = kNone;
    double other = kNone;
    for (std::size_t kind = 0; kind < kinds.pieces.size(); ++kind) {
      const auto& pieces = kinds.pieces[kind];
      const bool has = std::find(pieces.begin(), pieces.end(), piece) != pieces.end();
      double& best = has ? with : other;
      best = std::max(best, values.value(s, kind) - cost[kind]);
    }
    if (with > kNone && other > kNone) worth.push_back(with - other);
  }
  if (worth.size() <= available) return 0.0;
  std::nth_element(worth.begin(), worth.begin() + static_cast<std::ptrdiff_t>(available), worth.end(),
                   std::greater<>());
  return std::max(0.0, worth[available]);
}

/// The best and second best offer of some slots, where every kind is one piece or none: then a price concerns
/// one kind, and most prices are told from these two.
class TopTwo {
 public:
  TopTwo(const SlotValues& values, const std::vector<std::size_t>& slots, const std::vector<double>& prices)
      : values_(values), slots_(slots), kind_of_(prices.size(), 0) {
    const auto& kinds = values.kinds().pieces;
    for (std::size_t kind = 0; kind < kinds.size(); ++kind)
      if (!kinds[kind].empty()) kind_of_[static_cast<std::size_t>(kinds[kind].front())] = kind;
    refresh(prices);
  }

  void refresh(const std::vector<double>& prices) {
    tops_.assign(slots_.size(), Top{});
    const std::vector<double> cost = kind_prices(values_.kinds(), prices);
    for (std::size_t i = 0; i < slots_.size(); ++i) {
      for (std::size_t kind = 0; kind < cost.size(); ++kind) {
        const double net = values_.value(slots_[i], kind) - cost[kind];
        Top& top = tops_[i];
        if (net > top.best) {
          top = {kind, net, top.best};
        } else {
          top.second = std::max(top.second, net);
        }
      }
    }
  }

  /// As `clearing_price` below.
  [[nodiscard]] double clearing_price(std::size_t piece, std::size_t available) {
    const std::size_t kind = kind_of_[piece];
    worth_.clear();
    for (std::size_t i = 0; kind > 0 && i < slots_.size(); ++i) {
      const double other = tops_[i].kind == kind ? tops_[i].second : tops_[i].best;
      const double more = values_.value(slots_[i], kind) - other;
      if (other > kNone && more > 0.0) worth_.push_back(more);
    }
    if (worth_.size() <= available) return 0.0;
    const auto clearing = worth_.begin() + static_cast<std::ptrdiff_t>(available);
    std::nth_element(worth_.begin(), clearing, worth_.end(), std::greater<>());
    return *clearing;
  }

 private:
  struct Top {
    std::size_t kind = 0;
    double best = kNone;
    double second = kNone;
  };
  const SlotValues& values_;
  const std::vector<std::size_t>& slots_;
  std::vector<std::size_t> kind_of_;  ///< per piece; 0: no slot takes it
  std::vector<Top> tops_;
  std::vector<double> worth_;
};

}  // namespace

SlotValues::Kinds::Kinds(const Model& model, const PlaneModel& plane) : pieces(1) {
  std::map<std::vector<int>, std::size_t> numbers{{{}, 0}};
  for (const Entry& entry : plane.entries) {
    const std::span<const int> taken = model.pieces_in(entry.takes);
    const auto [found, is_new] = numbers.emplace(std::vector<int>(taken.begin(), taken.end()), pieces.size());
    if (is_new) pieces.push_back(found->first);
    of_entry.push_back(found->second);
    if (entry.slot == returned.size()) {
      const std::span<const int> back = model.pieces_in(entry.returns);
      returned.emplace_back(back.begin(), back.end());
    }
  }
}

std::vector<double> kind_prices(const SlotValues::Kinds& kinds, const std::vector<double>& prices) {
  std::vector<double> sums;
  for (const std::vector<int>& pieces : kinds.pieces) {
    double sum = 0.0;
    for (const int piece : pieces) sum += prices[static_cast<std::size_t>(piece)];
    sums.push_back(sum);
  }
  return sums;
}

SlotValues::SlotValues(const PlaneModel& plane, const Kinds& kinds, Complex direction)
    : slots_(plane.slots()), kinds_(&kinds), values_(slots_ * kinds.pieces.size(), kNone) {
  for (std::size_t e = 0; e < plane.entries.size(); ++e) {
    const Entry& entry = plane.entries[e];
    double& value = values_[entry.slot * kinds.pieces.size() + kinds.of_entry[e]];
    value = std::max(value, direction.real() * entry.change.real() + direction.imag() * entry.change.imag());
  }
}

std::vector<double> SlotValues::best_at(const std::vector<double>& prices) const {
  const std::vector<double> cost = kind_prices(*kinds_, prices);
  std::vector<double> best(slots_, kNone);
  for (std::size_t s = 0; s < slots_; ++s) {
    for (std::size_t kind = 0; kind < cost.size(); ++kind)
      best[s] = std::max(best[s], value(s, kind) - cost[kind]);
    for (const int piece : kinds_->returned[s]) best[s] += prices[static_cast<std::size_t>(piece)];
  }
  return best;
}

void settle_prices(const SlotValues& values, const std::vector<int>& available, std::size_t n,
                   std::vector<double>& prices) {
  if (prices.empty() || n > values.slots()) return;
  std::size_t most_at_once = 1;
  for (const auto& pieces : values.kinds().pieces) most_at_once = std::max(most_at_once, pieces.size());
  const auto enough = static_cast<int>(n * most_at_once);
  if (std::all_of(available.begin(), available.end(), [&](int a) { return a >= enough; })) return;
  double least = promise(values, available, n, prices);
  std::vector<double> trial = prices;
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    const std::vector<std::size_t> slots = best_slots(values, n, trial);
    TopTwo tops(values, slots, trial);
    for (std::size_t piece = prices.size(); piece-- > 0;) {
      const auto there = static_cast<std::size_t>(std::max(0, available[piece]));
      const double before = trial[piece];
      trial[piece] = most_at_once > 1 ? clearing_price(values, slots, static_cast<int>(piece), there, trial)
                     : there >= slots.size() ? 0.0
                                             : tops.clearing_price(piece, there);
      if (trial[piece] != before) tops.refresh(trial);
    }
    const double now = promise(values, available, n, trial);
    if (now >= least) continue;
    least = now;
    prices = trial;
  }
}

}  // namespace trimwright::slots_detail

#include "prices.hpp"

#include <algorithm>
#include <limits>

namespace trimwright::slots_detail {
namespace {

constexpr int kSweeps = 3;

/// The slots whose best offer is among the n best, best first, and the dual value: what the prices promise
/// for n changes.
struct Promise {
  std::vector<std::size_t> slots;
  double sum = 0.0;
};

Promise promise(const SlotValues& values, const std::vector<double>& available, std::size_t n,
                const std::vector<double>& prices) {
  const ArrayXd best = values.best_at(prices);
  Promise promised{largest_of(best, n), 0.0};
  for (const std::size_t s : promised.slots) promised.sum += best[static_cast<Eigen::Index>(s)];
  for (std::size_t k = 0; k < prices.size(); ++k) promised.sum += prices[k] * available[k];
  return promised;
}

/// The price at which no more of these slots want the piece than it is available.
double clearing_price(const SlotValues& values, const std::vector<std::size_t>& slots, int piece,
                      std::size_t available, const std::vector<double>& prices) {
  if (available >= slots.size()) return 0.0;
  const Kinds& kinds = values.kinds();
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
      : values_(values), slots_(slots), kind_of_(values.kinds().limited_pieces, 0) {
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

std::vector<std::size_t> largest_of(const ArrayXd& values, std::size_t n) {
  std::vector<std::size_t> largest;
  if (n == 0) return largest;
  double least = kNone;  // of those kept, once there are n
  for (Eigen::Index i = 0; i < values.size(); ++i) {
    if (largest.size() == n) {
      if (!(values[i] > least)) continue;
      largest.pop_back();
    }
    const auto place = std::upper_bound(
        largest.begin(), largest.end(), values[i],
        [&](double value, std::size_t other) { return value > values[static_cast<Eigen::Index>(other)]; });
    largest.insert(place, static_cast<std::size_t>(i));
    least = values[static_cast<Eigen::Index>(largest.back())];
  }
  return largest;
}

SlotValues::SlotValues(const Kinds& kinds, Complex direction) : kinds_(&kinds), direction_(direction) {
  const Eigen::Index slots = kinds.layers.empty() ? 0 : kinds.layers.front().re.size();
  values_.setConstant(slots, static_cast<Eigen::Index>(kinds.pieces.size()), kNone);
  for (const Kinds::Layer& layer : kinds.layers) {
    auto column = values_.col(static_cast<Eigen::Index>(layer.kind));
    column = column.max(direction.real() * layer.re + direction.imag() * layer.im + layer.none);
  }
}

/// What `slot` (`here`) and its mate (`there`) have where their pair is kept.
void SlotValues::keep(const Kinds& kinds, Complex direction, const std::vector<double>& prices,
                      std::size_t slot, double& here, double& there) {
  const auto filled_after = [&](std::size_t held, double& empty_one, double held_one) {
    const Kinds::Emptying& emptying = kinds.emptying[held];
    if (!emptying.possible || !(held_one > kNone)) {
      empty_one = kNone;
      return;
    }
    empty_one += direction.real() * emptying.change.real() + direction.imag() * emptying.change.imag() -
                 Kinds::cost(kinds.needs[emptying.kind], prices) + Kinds::cost(kinds.returned[held], prices) -
                 held_one;
  };
  switch (kinds.mates[slot].tie) {
    case Kinds::Tie::none:
      return;
    case Kinds::Tie::one:
      (here < there ? here : there) = kNone;
      return;
    case Kinds::Tie::both:
      here = there = 0.5 * (here + there);
      return;
    case Kinds::Tie::filled_after:
      filled_after(kinds.mates[slot].slot, here, there);
      return;
    case Kinds::Tie::emptied_before:
      filled_after(slot, there, here);
      return;
  }
}

void SlotValues::keep_pairs(const Kinds& kinds, Complex direction, const std::vector<double>& prices,
                            ArrayXd& best) {
  for (std::size_t s = 0; s < kinds.mates.size(); ++s) {
    const std::size_t t = kinds.mates[s].slot;
    if (t > s)
      keep(kinds, direction, prices, s, best[static_cast<Eigen::Index>(s)],
           best[static_cast<Eigen::Index>(t)]);
  }
}

std::vector<double> SlotValues::largest_sums(const ArrayXd& alone, const std::vector<double>& prices,
                                             std::size_t most) const {
  const std::size_t count = slots();
  std::vector<double> sums((most + 1) * (count + 1), kNone);
  std::vector<double> largest;  // of the slots so far, falling
  sums[count] = 0.0;
  const auto add = [&](double value) {
    largest.insert(std::upper_bound(largest.begin(), largest.end(), value, std::greater<>()), value);
  };
  for (std::size_t s = count; s-- > 0;) {
    double value = alone[static_cast<Eigen::Index>(s)];
    if (const std::size_t t = kinds_->mates[s].slot; t > s) {  // it is among them already, by itself
      double its = alone[static_cast<Eigen::Index>(t)];
      largest.erase(std::lower_bound(largest.begin(), largest.end(), its, std::greater<>()));
      keep(*kinds_, direction_, prices, s, value, its);
      add(its);
    }
    add(value);
    double sum = 0.0;
    sums[s] = 0.0;
    for (std::size_t n = 1; n <= std::min(most, largest.size()); ++n) {
      sum += largest[n - 1];
      sums[n * (count + 1) + s] = sum;
    }
  }
  return sums;
}

ArrayXd SlotValues::best_alone(const std::vector<double>& prices) const {
  const std::vector<double> cost = kind_prices(*kinds_, prices);
  ArrayXd best = values_.col(0) - cost[0];
  for (Eigen::Index kind = 1; kind < values_.cols(); ++kind)
    best = best.max(values_.col(kind) - cost[static_cast<std::size_t>(kind)]);
  kinds_->add_returned(prices, best);
  return best;
}

ArrayXd best_offers(const Kinds& kinds, Complex direction, const std::vector<double>& prices) {
  const std::vector<double> cost = kind_prices(kinds, prices);
  ArrayXd best = ArrayXd::Constant(kinds.layers.front().re.size(), kNone);
  for (const Kinds::Layer& layer : kinds.layers) {
    best =
        best.max(direction.real() * layer.re + direction.imag() * layer.im + (layer.none - cost[layer.kind]));
  }
  kinds.add_returned(prices, best);
  SlotValues::keep_pairs(kinds, direction, prices, best);
  return best;
}

double reached(const SlotValues& values, std::size_t n, const std::vector<double>& available,
               const std::vector<double>& prices, std::vector<double>& spare) {
  const Kinds& kinds = values.kinds();
  const std::vector<double> cost = kind_prices(kinds, prices);
  const ArrayXd best = values.best_at(prices);
  double sum = 0.0;
  for (std::size_t k = 0; k < prices.size(); ++k) sum += prices[k] * available[k];
  spare = available;
  for (const std::size_t s : largest_of(best, n)) {
    sum += best[static_cast<Eigen::Index>(s)];
    std::size_t kind = 0;
    for (std::size_t other = 1; other < cost.size(); ++other) {
      if (values.value(s, other) - cost[other] > values.value(s, kind) - cost[kind]) kind = other;
    }
    for (const Need& need : kinds.needs[kind]) spare[need.of] -= need.amount;
    for (const Need& need : kinds.returned[s]) spare[need.of] += need.amount;
  }
  return sum;
}

namespace {

void settle_pieces(const SlotValues& values, const std::vector<double>& available, std::size_t n,
                   std::vector<double>& prices) {
  const std::size_t limited = values.kinds().limited_pieces;
  std::size_t most_at_once = 1;
  for (const auto& pieces : values.kinds().pieces) most_at_once = std::max(most_at_once, pieces.size());
  const auto enough = static_cast<double>(n * most_at_once);
  if (std::all_of(available.begin(), available.begin() + static_cast<std::ptrdiff_t>(limited),
                  [&](double a) { return a >= enough; }))
    return;
  Promise promised = promise(values, available, n, prices);
  double least = promised.sum;
  std::vector<double> trial = prices;
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    const std::vector<std::size_t>& slots = promised.slots;
    TopTwo tops(values, slots, trial);
    for (std::size_t piece = limited; piece-- > 0;) {
      const auto there = static_cast<std::size_t>(std::max(0.0, available[piece]));
      const double before = trial[piece];
      trial[piece] = most_at_once > 1 ? clearing_price(values, slots, static_cast<int>(piece), there, trial)
                     : there >= slots.size() ? 0.0
                                             : tops.clearing_price(piece, there);
      if (trial[piece] != before) tops.refresh(trial);
    }
    promised = promise(values, available, n, trial);
    if (promised.sum >= least) continue;
    least = promised.sum;
    prices = trial;
  }
}

/// The price at which the n best slots draw from a budget what there is of it: between a price at which they
/// draw more and one at which they draw less, halved.
void settle_budget(const SlotValues& values, const std::vector<double>& available, std::size_t n,
                   std::size_t budget, std::vector<double>& prices) {
  constexpr double kFirst = 0.25;  // in the largest change, for the largest amount
  constexpr double kHighest =
      64.0;  // no higher: what is added and taken away again would drown the rest in rounding
  constexpr int kHalvings = 8;
  std::vector<double> spare;
  const auto sum_at = [&](double price) {
    prices[budget] = price;
    return reached(values, n, available, prices, spare);
  };
  double low = 0.0;
  double least = sum_at(low);
  if (spare[budget] >= 0.0) return;
  double best = low;
  const auto consider = [&](double price) {
    const double sum = sum_at(price);
    if (sum < least) {
      least = sum;
      best = price;
    }
    return spare[budget] >= 0.0;
  };
  double high = kFirst * values.largest();
  while (high < kHighest * values.largest() && !consider(high)) {
    low = high;
    high *= 2.0;
  }
  for (int i = 0; i < kHalvings; ++i) {
    const double middle = 0.5 * (low + high);
    (consider(middle) ? high : low) = middle;
  }
  prices[budget] = best;
}

}  // namespace

void settle_prices(const SlotValues& values, const std::vector<double>& available, std::size_t n,
                   std::vector<double>& prices) {
  if (prices.empty() || n > values.slots()) return;
  settle_pieces(values, available, n, prices);
  for (std::size_t k = values.kinds().limited_pieces; k < prices.size(); ++k)
    settle_budget(values, available, n, k, prices);
}

}  // namespace trimwright::slots_detail

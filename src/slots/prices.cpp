#include "prices.hpp"

#include <algorithm>
#include <limits>
#include <map>

namespace trimwright::slots_detail {
namespace {

constexpr int kSweeps = 3;

/// The slots whose best offer is among the n best, best first, and the dual value: what the prices promise
/// for n changes.
struct Promise {
  std::vector<std::size_t> slots;
  double sum = 0.0;
};

Promise promise(const SlotValues& values, const std::vector<int>& available, std::size_t n,
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

SlotValues::Kinds::Kinds(const Model& model, const PlaneModel& plane) : pieces(1) {
  std::map<std::vector<int>, std::size_t> numbers{{{}, 0}};
  std::vector<std::size_t> of_single(model.stock.size(), 0);  // 0: not met yet
  const auto number_of = [&](std::span<const int> taken) {
    if (taken.empty()) return std::size_t{0};
    std::size_t* single = taken.size() == 1 ? &of_single[static_cast<std::size_t>(taken.front())] : nullptr;
    if (single != nullptr && *single > 0) return *single;
    const auto [found, is_new] = numbers.emplace(std::vector<int>(taken.begin(), taken.end()), pieces.size());
    if (is_new) pieces.push_back(found->first);
    if (single != nullptr) *single = found->second;
    return found->second;
  };
  for (std::size_t e = 0; e < plane.entries.size(); ++e) {
    const Entry& entry = plane.entries[e];
    of_entry.push_back(number_of(model.pieces_in(entry.takes)));
    if (e != plane.slot_begin[entry.slot]) continue;
    for (const int piece : model.pieces_in(entry.returns)) returned.emplace_back(entry.slot, piece);
  }
  lay_out(plane);
}

void SlotValues::Kinds::lay_out(const PlaneModel& plane) {
  const auto slots = static_cast<Eigen::Index>(plane.slots());
  std::vector<std::vector<std::size_t>> layers_of(pieces.size());
  for (std::size_t s = 0; s < plane.slots(); ++s) {
    std::vector<std::size_t> used(pieces.size(), 0);
    for (std::uint32_t e = plane.slot_begin[s]; e < plane.slot_begin[s + 1]; ++e) {
      const std::size_t kind = of_entry[e];
      if (used[kind] == layers_of[kind].size()) {
        layers_of[kind].push_back(layers.size());
        layers.push_back({kind, ArrayXd::Zero(slots), ArrayXd::Zero(slots), ArrayXd::Constant(slots, kNone)});
      }
      Layer& layer = layers[layers_of[kind][used[kind]++]];
      const auto at = static_cast<Eigen::Index>(s);
      layer.re[at] = plane.entries[e].change.real();
      layer.im[at] = plane.entries[e].change.imag();
      layer.none[at] = 0.0;
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

SlotValues::SlotValues(const Kinds& kinds, Complex direction) : kinds_(&kinds) {
  const Eigen::Index slots = kinds.layers.empty() ? 0 : kinds.layers.front().re.size();
  values_.setConstant(slots, static_cast<Eigen::Index>(kinds.pieces.size()), kNone);
  for (const Kinds::Layer& layer : kinds.layers) {
    auto column = values_.col(static_cast<Eigen::Index>(layer.kind));
    column = column.max(direction.real() * layer.re + direction.imag() * layer.im + layer.none);
  }
}

ArrayXd SlotValues::best_at(const std::vector<double>& prices) const {
  const std::vector<double> cost = kind_prices(*kinds_, prices);
  ArrayXd best = values_.col(0) - cost[0];
  for (Eigen::Index kind = 1; kind < values_.cols(); ++kind)
    best = best.max(values_.col(kind) - cost[static_cast<std::size_t>(kind)]);
  kinds_->add_returned(prices, best);
  return best;
}

ArrayXd best_offers(const SlotValues::Kinds& kinds, Complex direction, const std::vector<double>& prices) {
  const std::vector<double> cost = kind_prices(kinds, prices);
  ArrayXd best = ArrayXd::Constant(kinds.layers.front().re.size(), kNone);
  for (const SlotValues::Kinds::Layer& layer : kinds.layers) {
    best =
        best.max(direction.real() * layer.re + direction.imag() * layer.im + (layer.none - cost[layer.kind]));
  }
  kinds.add_returned(prices, best);
  return best;
}

void settle_prices(const SlotValues& values, const std::vector<int>& available, std::size_t n,
                   std::vector<double>& prices) {
  if (prices.empty() || n > values.slots()) return;
  std::size_t most_at_once = 1;
  for (const auto& pieces : values.kinds().pieces) most_at_once = std::max(most_at_once, pieces.size());
  const auto enough = static_cast<int>(n * most_at_once);
  if (std::all_of(available.begin(), available.end(), [&](int a) { return a >= enough; })) return;
  Promise promised = promise(values, available, n, prices);
  double least = promised.sum;
  std::vector<double> trial = prices;
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    const std::vector<std::size_t>& slots = promised.slots;
    TopTwo tops(values, slots, trial);
    for (std::size_t piece = prices.size(); piece-- > 0;) {
      const auto there = static_cast<std::size_t>(std::max(0, available[piece]));
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

}  // namespace trimwright::slots_detail

#pragma once

#include <vector>

#include "kinds.hpp"

namespace trimwright::slots_detail {

/// What each slot of a plane can add in one direction, for each kind of content: what it takes of scarce
/// things.
class SlotValues {
 public:
  SlotValues(const Kinds& kinds, Complex direction);

  /// Per slot, the best over its options of what it adds, less the price of what it takes, plus that of what
  /// it gives back; each slot by itself.
  [[nodiscard]] ArrayXd best_alone(const std::vector<double>& prices) const;
  /// The same where pairs are kept: no choice that keeps them adds more than its slots have here.
  [[nodiscard]] ArrayXd best_at(const std::vector<double>& prices) const {
    ArrayXd best = best_alone(prices);
    keep_pairs(*kinds_, direction_, prices, best);
    return best;
  }
  /// Of slots that may not both change, the better one keeps its value; of slots that must change together,
  /// each has half of what both add; a slot that is filled only when its mate is emptied has what both then
  /// add, less the best of the mate alone.
  static void keep_pairs(const Kinds& kinds, Complex direction, const std::vector<double>& prices,
                         ArrayXd& best);
  /// Sums of the n largest of these from each slot on: [n][first slot]. Only pairs within the slots left
  /// count.
  [[nodiscard]] std::vector<double> largest_sums(const std::vector<double>& prices, std::size_t most) const {
    return largest_sums(best_alone(prices), prices, most);
  }
  /// `alone`: `best_alone` at these prices.
  [[nodiscard]] std::vector<double> largest_sums(const ArrayXd& alone, const std::vector<double>& prices,
                                                 std::size_t most) const;

  /// The largest that an option adds, at no price; at least zero.
  [[nodiscard]] double largest() const {
    return values_.size() > 0 ? std::max(0.0, values_.maxCoeff()) : 0.0;
  }
  [[nodiscard]] std::size_t slots() const { return static_cast<std::size_t>(values_.rows()); }
  [[nodiscard]] const Kinds& kinds() const { return *kinds_; }
  /// Minus infinity where the slot offers nothing of the kind.
  [[nodiscard]] double value(std::size_t s, std::size_t kind) const {
    return values_(static_cast<Eigen::Index>(s), static_cast<Eigen::Index>(kind));
  }

 private:
  static void keep(const Kinds& kinds, Complex direction, const std::vector<double>& prices, std::size_t slot,
                   double& here, double& there);

  const Kinds* kinds_;
  Complex direction_;
  Eigen::ArrayXXd values_;  ///< a column for each kind
};

/// `SlotValues(kinds, direction).best_at(prices)`, for asking once.
[[nodiscard]] ArrayXd best_offers(const Kinds& kinds, Complex direction, const std::vector<double>& prices);

/// Where the n largest values stand (all, where there are fewer), largest first.
[[nodiscard]] std::vector<std::size_t> largest_of(const ArrayXd& values, std::size_t n);

/// What n changes reach at these prices, from above; `spare` becomes what the choice that attains it leaves
/// of each scarce thing: a subgradient.
[[nodiscard]] double reached(const SlotValues& values, std::size_t n, const std::vector<double>& available,
                             const std::vector<double>& prices, std::vector<double>& spare);

/// Moves the prices (one per scarce thing) to where the n best slots want no more of it than is available, or
/// near that. Starts from the prices given.
void settle_prices(const SlotValues& values, const std::vector<double>& available, std::size_t n,
                   std::vector<double>& prices);

}  // namespace trimwright::slots_detail

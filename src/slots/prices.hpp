#pragma once

#include <utility>
#include <vector>

#include "model.hpp"

namespace trimwright::slots_detail {

/// So much of a scarce thing: of a limited piece, or of a budget.
struct Need {
  std::size_t of = 0;
  double amount = 0.0;
};

/// What each slot of a plane can add in one direction, for each kind of content: what it takes of scarce
/// things.
class SlotValues {
 public:
  /// The kinds that occur in a plane; kind 0 takes nothing.
  struct Kinds {
    std::vector<std::vector<int>> pieces;  ///< limited pieces that each kind takes
    std::vector<std::vector<Need>> needs;  ///< the same, with what it takes of budgets
    std::vector<std::size_t> of_entry;
    std::vector<std::vector<Need>> returned;  ///< per slot: what any change of it gives back
    std::size_t limited_pieces = 0;
    /// The slot that a pair rule joins to each slot; itself: none (at most one pair of a slot is looked at).
    /// Of two that may not both hold weights: both are empty, and every change fills them. Of two that must
    /// change together: both hold the same now, and are to be alike; or both are empty, and are to be filled
    /// together.
    struct Mate {
      std::size_t slot = 0;
      bool both = false;  ///< both must change if one does; otherwise: not both may
    };
    std::vector<Mate> mates;
    /// At most one option of a kind for each slot, side by side: sweeping over slots is several times faster
    /// than over entries.
    struct Layer {
      std::size_t kind = 0;
      ArrayXd re, im;
      ArrayXd none;  ///< minus infinity where the slot has no such option, else 0
    };
    std::vector<Layer> layers;
    Kinds(const Model& model, const PlaneModel& plane);
    /// Adds to each slot's value the prices of what its change gives back.
    void add_returned(const std::vector<double>& prices, ArrayXd& values) const {
      for (std::size_t slot = 0; slot < returned.size(); ++slot)
        values[static_cast<Eigen::Index>(slot)] += cost(returned[slot], prices);
    }
    [[nodiscard]] static double cost(const std::vector<Need>& needs, const std::vector<double>& prices) {
      double sum = 0.0;
      for (const Need& need : needs) sum += need.amount * prices[need.of];
      return sum;
    }

   private:
    void lay_out(const PlaneModel& plane);
    void find_mates(const Model& model, const PlaneModel& plane);
  };

  SlotValues(const Kinds& kinds, Complex direction);

  /// Per slot, the best over its options of what it adds, less the price of what it takes, plus that of what
  /// it gives back; each slot by itself.
  [[nodiscard]] ArrayXd best_alone(const std::vector<double>& prices) const;
  /// The same where pairs must be kept: of slots that may not both change, one; of slots that must change
  /// together, half of what both add.
  [[nodiscard]] ArrayXd best_at(const std::vector<double>& prices) const {
    ArrayXd best = best_alone(prices);
    keep_pairs(*kinds_, best);
    return best;
  }
  static void keep_pairs(const Kinds& kinds, ArrayXd& best);

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
  const Kinds* kinds_;
  Eigen::ArrayXXd values_;  ///< a column for each kind
};

/// `SlotValues(kinds, direction).best_at(prices)`, for asking once.
[[nodiscard]] ArrayXd best_offers(const SlotValues::Kinds& kinds, Complex direction,
                                  const std::vector<double>& prices);

/// What each kind costs.
[[nodiscard]] std::vector<double> kind_prices(const SlotValues::Kinds& kinds,
                                              const std::vector<double>& prices);

/// Sums of the n largest of the values (each slot by itself) from each slot on, pairs kept: [n][first slot].
[[nodiscard]] std::vector<double> largest_sums(const SlotValues::Kinds& kinds, const ArrayXd& of_slot,
                                               std::size_t most);

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

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
    /// What a pair rule asks of two slots.
    enum class Tie {
      none,
      one,   ///< not both may change: both are empty, every change fills them, and not both may hold weights
      both,  ///< both must change if one does: to be alike, or to be filled together
      filled_after,   ///< empty, and to be filled only if the other, which holds a weight, is emptied
      emptied_before  ///< the other one of these
    };
    /// The slot that a rule ties to each slot (at most one pair of a slot is looked at).
    struct Mate {
      std::size_t slot = 0;
      Tie tie = Tie::none;
    };
    std::vector<Mate> mates;
    /// Per slot: the option that leaves only the filler.
    struct Emptying {
      bool possible = false;
      Complex change;
      std::size_t kind = 0;
    };
    std::vector<Emptying> emptying;
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
  [[nodiscard]] std::vector<double> largest_sums(const std::vector<double>& prices, std::size_t most) const;

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
[[nodiscard]] ArrayXd best_offers(const SlotValues::Kinds& kinds, Complex direction,
                                  const std::vector<double>& prices);

/// What each kind costs.
[[nodiscard]] std::vector<double> kind_prices(const SlotValues::Kinds& kinds,
                                              const std::vector<double>& prices);

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

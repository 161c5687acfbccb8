#pragma once

#include <vector>

#include "model.hpp"

namespace trimwright::slots_detail {

/// So much of a scarce thing: of a limited piece, or of a budget.
struct Need {
  std::size_t of = 0;
  double amount = 0.0;
};

/// The kinds of content that occur in the slots of a plane; kind 0 takes nothing.
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

/// What each kind costs.
[[nodiscard]] std::vector<double> kind_prices(const Kinds& kinds, const std::vector<double>& prices);

}  // namespace trimwright::slots_detail

#pragma once

#include <vector>

#include "slot_model.hpp"

namespace trimwright::slots_detail {

/// What each slot of a plane can add in one direction, for each kind of content: the limited pieces it takes.
class SlotValues {
 public:
  /// The kinds that occur in a plane: lists of limited pieces; kind 0 takes none.
  struct Kinds {
    std::vector<std::vector<int>> pieces;
    std::vector<std::size_t> of_entry;
    std::vector<std::vector<int>> returned;  ///< per slot: limited pieces that any change of it gives back
    Kinds(const Model& model, const PlaneModel& plane);
  };

  SlotValues(const PlaneModel& plane, const Kinds& kinds, Complex direction);

  /// Per slot, the best over its options of what it adds, less the price of the pieces it takes, plus that of
  /// the pieces it gives back.
  [[nodiscard]] std::vector<double> best_at(const std::vector<double>& prices) const;

  [[nodiscard]] std::size_t slots() const { return slots_; }
  [[nodiscard]] const Kinds& kinds() const { return *kinds_; }
  /// Minus infinity where the slot offers nothing of the kind.
  [[nodiscard]] double value(std::size_t s, std::size_t kind) const {
    return values_[s * kinds_->pieces.size() + kind];
  }

 private:
  std::size_t slots_;
  const Kinds* kinds_;
  std::vector<double> values_;
};

/// What all pieces of each kind cost together.
[[nodiscard]] std::vector<double> kind_prices(const SlotValues::Kinds& kinds,
                                              const std::vector<double>& prices);

/// Moves the prices (one per limited piece) to where the n best slots want no piece more often than it is
/// available, or near that. Starts from the prices given.
void settle_prices(const SlotValues& values, const std::vector<int>& available, std::size_t n,
                   std::vector<double>& prices);

}  // namespace trimwright::slots_detail

#pragma once

#include <vector>

#include "slot_model.hpp"

namespace trimwright::slots_detail {

/// What each slot of a plane can add in one direction, for each limited piece and for everything else.
class SlotValues {
 public:
  SlotValues(const PlaneModel& plane, Complex direction, std::size_t limited);

  /// Per slot, the best over its options of what it adds less the price of the piece.
  [[nodiscard]] std::vector<double> best_at(const std::vector<double>& prices) const;

  [[nodiscard]] std::size_t slots() const { return slots_; }
  [[nodiscard]] std::size_t limited() const { return limited_; }
  /// Of slot s; `kind` a limited piece, or `limited()`: all else. Minus infinity where not offered.
  [[nodiscard]] double value(std::size_t s, std::size_t kind) const {
    return values_[s * (limited_ + 1) + kind];
  }

 private:
  std::size_t slots_;
  std::size_t limited_;
  std::vector<double> values_;
};

/// Moves the prices (one per limited piece) to where the n best slots want no piece more often than it is
/// available, or near that. Starts from the prices given.
void settle_prices(const SlotValues& values, const std::vector<int>& available, std::size_t n,
                   std::vector<double>& prices);

}  // namespace trimwright::slots_detail

#pragma once

#include <cstdint>
#include <vector>

#include "model.hpp"

namespace trimwright::slots_detail {

/// How many there are of the scarcest pieces, side by side in one word, so that a few changes are added up
/// and looked at at once. Not all limited pieces have a place in it: it tells what cannot be, never what can.
class PackedStock {
 public:
  /// Of how many changes the sum may be taken.
  static constexpr int kMostChanges = 3;

  explicit PackedStock(const Model& model);

  /// What a change gives back less what it takes.
  [[nodiscard]] std::uint64_t of(const Model& model, const Entry& entry) const;
  /// What is left, as `Ledger::left` has it.
  [[nodiscard]] std::uint64_t left(const std::vector<int>& left) const;
  /// Whether in a sum of `left` and changes more pieces than so many are missing.
  [[nodiscard]] bool lacks(std::uint64_t sum, int may_miss) const {
    std::uint64_t below_zero = ~sum & signs_;
    for (; below_zero != 0 && may_miss >= 0; --may_miss) below_zero &= below_zero - 1;
    return may_miss < 0;
  }

 private:
  std::vector<int> shift_;   ///< per limited piece; negative: it has no place
  std::uint64_t signs_ = 0;  ///< the bits that are one where a count is not below zero
};

}  // namespace trimwright::slots_detail

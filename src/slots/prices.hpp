#pragma once

#include <utility>
#include <vector>

#include "model.hpp"

namespace trimwright::slots_detail {

/// What each slot of a plane can add in one direction, for each kind of content: the limited pieces it takes.
class SlotValues {
 public:
  /// The kinds that occur in a plane: lists of limited pieces; kind 0 takes none.
  struct Kinds {
    std::vector<std::vector<int>> pieces;
    std::vector<std::size_t> of_entry;
    std::vector<std::pair<std::size_t, int>> returned;  ///< a slot, and a limited piece its change gives back
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
      for (const auto& [slot, piece] : returned)
        values[static_cast<Eigen::Index>(slot)] += prices[static_cast<std::size_t>(piece)];
    }

   private:
    void lay_out(const PlaneModel& plane);
  };

  SlotValues(const Kinds& kinds, Complex direction);

  /// Per slot, the best over its options of what it adds, less the price of the pieces it takes, plus that of
  /// the pieces it gives back.
  [[nodiscard]] ArrayXd best_at(const std::vector<double>& prices) const;

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

/// What all pieces of each kind cost together.
[[nodiscard]] std::vector<double> kind_prices(const SlotValues::Kinds& kinds,
                                              const std::vector<double>& prices);

/// Where the n largest values stand (all, where there are fewer), largest first.
[[nodiscard]] std::vector<std::size_t> largest_of(const ArrayXd& values, std::size_t n);

/// Moves the prices (one per limited piece) to where the n best slots want no piece more often than it is
/// available, or near that. Starts from the prices given.
void settle_prices(const SlotValues& values, const std::vector<int>& available, std::size_t n,
                   std::vector<double>& prices);

}  // namespace trimwright::slots_detail

#pragma once

#include <array>
#include <vector>

#include "tables.hpp"

namespace trimwright::slots_detail {

/// The directions in which the region wanted lies nearest to the edge of what a plane can reach, and what
/// each entry is worth there, at the prices at which the stock of the moment is just enough: of a sum that
/// gets into the region, no more can be lost against the best than lies between. Where pieces barely reach,
/// that leaves few entries or none, told from one number each before anything is fitted.
class Edge {
 public:
  static constexpr std::size_t kMost = 2;  ///< directions looked at
  /// Worth of the entries fixed so far, in each direction.
  using Worth = std::array<double, kMost>;

  /// For sums of `n` changes of available pieces.
  void find(const PlaneTables& tables, const Region& region, std::size_t n,
            const std::vector<double>& available);

  /// Whether entries of this worth and `n` more from `first_slot` on could end in the region.
  [[nodiscard]] bool within(const Worth& worth, std::size_t n, std::size_t first_slot,
                            const Region& region) const {
    for (std::size_t i = 0; i < used_; ++i) {
      const Direction& here = directions_[i];
      if (worth[i] + here.best[n * columns_ + first_slot] + here.paid < region.extent(here.k)) return false;
    }
    return true;
  }
  [[nodiscard]] Worth with(const Worth& worth, std::uint32_t e) const {
    Worth more = worth;
    for (std::size_t i = 0; i < used_; ++i) more[i] += directions_[i].worth[e];
    return more;
  }

 private:
  struct Direction {
    std::size_t k = 0;          ///< of Reach::directions()
    std::vector<double> worth;  ///< per entry
    std::vector<double> best;   ///< [n][first slot]: of n changes
    double paid = 0.0;          ///< for what is available, and a little for rounding
  };
  void look(const PlaneTables& tables, std::size_t n, const std::vector<double>& available, double extent,
            Direction& here);

  std::size_t used_ = 0;
  std::size_t columns_ = 0;
  std::array<Direction, kMost> directions_;
};

}  // namespace trimwright::slots_detail

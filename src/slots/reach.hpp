#pragma once

#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "model.hpp"
#include "patience.hpp"
#include "prices.hpp"

namespace trimwright::slots_detail {

/// How far the sums of n changes in one plane reach: the support function of the set of such sums,
/// h(d) = max Re(conj(d) sum), tabulated from above over ranges of direction, for the slots from any slot on.
///
/// Scarce pieces carry a price pi >= 0 (one set for each n and direction). For any prices
///
///   h(d) <= sum over pieces of pi * (how often it can be taken beyond what is given back)
///           + the n slots of largest max over options of
///             (Re(conj(d) change) - pi of the pieces taken + pi of the pieces given back),
///
/// (pieces of a budget likewise, by what they draw from it), and at the prices at which no piece is wanted
/// more often than it is there the two agree (duality of the
/// assignment problem: D. P. Bertsekas, The auction algorithm, Annals of Operations Research 14, 1988, from
/// memory). The second term is tabulated; the first follows what has been taken on the way.
class Reach {
 public:
  static constexpr std::size_t kDirections = 64;

  /// `kinds`: of the plane.
  Reach(const Model& model, const PlaneModel& plane, const Kinds& kinds, std::size_t most_changes);

  /// Upper bound of Re(conj(d) sum) over sums of `n` changes of available pieces in slots `first_slot`, ...
  /// and over the directions d of a range.
  [[nodiscard]] double height(std::size_t n, std::size_t first_slot, std::size_t range,
                              const std::vector<double>& available) const {
    return unpriced(n, first_slot, range) + paid(n, range, available);
  }
  /// Upper bound of Re(conj(pull) sum) over sums of `n` changes of available pieces.
  [[nodiscard]] double support(std::size_t n, Complex pull, const std::vector<double>& available) const {
    return std::abs(pull) * height(n, 0, range_of(pull), available);
  }
  /// The same for the unit vector directions()[k], from some slot on.
  [[nodiscard]] double along(std::size_t n, std::size_t first_slot, std::size_t k,
                             const std::vector<double>& available) const {
    return std::min(height(n, first_slot, k, available),
                    height(n, first_slot, k > 0 ? k - 1 : kDirections - 1, available));
  }
  /// Unit vectors at which the ranges of direction begin; the last repeats the first.
  using Directions = std::array<Complex, kDirections + 1>;
  static const Directions& directions();
  /// Ranges are even in y / (|x| + |y|), which needs no trigonometry; range k begins at directions()[k].
  static std::size_t range_of(Complex z) {
    const double x = z.real();
    const double y = z.imag();
    const double size = std::abs(x) + std::abs(y);
    if (!(size > 0.0)) return 0;
    const double quadrant =
        y >= 0.0 ? (x >= 0.0 ? y / size : 1.0 - x / size) : (x < 0.0 ? 2.0 - y / size : 3.0 + x / size);
    const auto range = static_cast<std::size_t>(quadrant * (static_cast<double>(kDirections) / 4.0));
    return range < kDirections ? range : kDirections - 1;
  }
  /// The prices of scarce things for `n` changes in directions()[k].
  [[nodiscard]] const float* prices(std::size_t n, std::size_t k) const {
    return prices_.data() + (n * kDirections + k) * (prices_.size() / (discs_.size() * kDirections));
  }
  /// A disc that holds every sum of `n` changes in the plane, be they all there or some of more.
  [[nodiscard]] const Disc& disc(std::size_t n) const { return discs_[n]; }
  /// The same (about the same centre) when only the pieces in `available` are left.
  [[nodiscard]] Disc disc(std::size_t n, const std::vector<double>& available) const;

 private:
  [[nodiscard]] double unpriced(std::size_t n, std::size_t first_slot, std::size_t range) const {
    return static_cast<double>(unpriced_[(n * (slots_ + 1) + first_slot) * kDirections + range]);
  }
  [[nodiscard]] double paid(std::size_t n, std::size_t range, const std::vector<double>& available) const {
    const float* price = prices_.data() + (n * kDirections + range) * available.size();
    double sum = 0.0;
    double size = 0.0;
    for (std::size_t k = 0; k < available.size(); ++k) {
      const double paid = static_cast<double>(price[k]) * available[k];
      sum += paid;
      size += std::abs(paid);
    }
    return sum + 1e-12 * size;
  }
  [[nodiscard]] double radius_about(Complex centre, std::size_t n,
                                    const std::vector<double>& available) const;
  [[nodiscard]] Disc disc_about_heights(std::size_t n, const std::vector<double>& available) const;

  std::size_t slots_;
  std::vector<float> unpriced_;  ///< [n][first slot][range of direction]: the second term
  std::vector<float> prices_;    ///< [n][range of direction][scarce thing]
  std::vector<Disc> discs_;      ///< [n]
};

/// Where the moment of one plane must lie, by how far it extends against each direction:
/// Re(conj(d_k) u) >= extent k for all d_k of Reach::directions().
class Region {
 public:
  Region() { extents_.fill(-std::numeric_limits<double>::infinity()); }
  /// A further direction (a unit vector) in which the extent is wanted; set before confining.
  void watch(Complex direction) { watched_ = direction; }
  /// Only what lies in the disc as well.
  void confine(Complex centre, double radius);
  [[nodiscard]] double extent(std::size_t k) const { return extents_[k]; }
  [[nodiscard]] double watched_extent() const { return watched_extent_; }

 private:
  Complex watched_;
  double watched_extent_ = -std::numeric_limits<double>::infinity();
  std::array<double, Reach::kDirections> extents_;
};

/// `Reach` in one direction only, without the widening of a range: where pieces barely reach the moment
/// needed, nearly all choices fail by less than that. Tabulated once it has been asked for often.
class Focus {
 public:
  /// For `n` changes or fewer of a plane, whose `kinds` outlive this; `pull` is the direction, and zero is
  /// never of use. `prices` of scarce pieces to start from, for a pull as long.
  Focus(const Model& model, const PlaneModel& plane, const Kinds& kinds, std::size_t n, Complex pull,
        std::vector<double> prices, Patience& patience);

  [[nodiscard]] Complex direction() const { return direction_; }
  /// Upper bound of Re(conj(direction) sum) over sums of `n` changes of available pieces in slots
  /// `first_slot`, ...; infinite while the table is not worth while. Counts the questions.
  [[nodiscard]] double height(std::size_t n, std::size_t first_slot, const std::vector<double>& available,
                              Patience& patience) const {
    if (direction_ == 0.0 || !patience.spend(account_, 1)) return std::numeric_limits<double>::infinity();
    const Table& table = table_.get([this] { return tabulate(); });
    double sum = table.unpriced[n * (plane_->slots() + 1) + first_slot];
    for (std::size_t k = 0; k < available.size(); ++k) sum += table.prices[k] * available[k];
    return sum + table.slack;
  }

 private:
  struct Table {
    std::vector<double> unpriced, prices;
    double slack = 0.0;  ///< for rounding
  };
  [[nodiscard]] Table tabulate() const;

  const Model* model_;
  const PlaneModel* plane_;
  const Kinds* kinds_;
  std::size_t most_;
  Complex direction_;
  std::vector<double> first_prices_;
  std::size_t account_ = 0;
  MadeOnce<Table> table_;
};

/// The smallest disc found that holds all that lies in both; radius negative when they do not meet.
[[nodiscard]] Disc meeting_disc(const Disc& a, const Disc& b);

}  // namespace trimwright::slots_detail

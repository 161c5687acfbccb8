#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <memory>
#include <vector>

#include "slot_joint.hpp"
#include "slot_model.hpp"
#include "slot_reach.hpp"

namespace trimwright::slots_detail {

/// Points of the plane sorted into square cells, row by row, so that the points in a disc are a few
/// contiguous runs. Single precision: it proposes points, the caller decides in double.
class PointGrid {
 public:
  /// Calls `emit(add)` twice; `emit` must call `add(point, id)` for the same points in the same order:
  /// about `count` points, nearly all in `around`.
  template <class Emit>
  PointGrid(const Disc& around, std::size_t count, Emit&& emit);

  /// Calls `visit(id)` for every point in the disc (and a few just outside), until it returns false.
  /// `radius` may shrink meanwhile.
  template <class Visit>
  bool visit(Complex centre, const double& radius, Visit&& visit) const;

  [[nodiscard]] std::size_t size() const { return points_.size(); }

 private:
  [[nodiscard]] std::size_t cell_of(Complex point) const {
    return index((point.imag() - bottom_) * per_side_) * across_ +
           index((point.real() - left_) * per_side_);
  }
  [[nodiscard]] std::size_t index(double position) const {
    const double within = std::min(std::max(position, 0.0), static_cast<double>(across_ - 1));
    return static_cast<std::size_t>(static_cast<std::int32_t>(within));
  }

  /// Together, so that a point is one access to memory.
  struct Point {
    float x, y;
    std::uint32_t id;
  };
  double left_, bottom_, side_;
  double per_side_;  ///< 1 / side_
  double slack_;  ///< rounding of the single precision points
  std::size_t across_;
  std::vector<std::uint32_t> begin_;  ///< per cell, in the lists below
  std::vector<Point> points_;
};

template <class Emit>
PointGrid::PointGrid(const Disc& around, std::size_t count, Emit&& emit) {
  constexpr double kPointsPerCell = 4.0;
  const double reach = around.radius > 0.0 ? around.radius : 1e-300;
  across_ = static_cast<std::size_t>(std::ceil(std::sqrt(static_cast<double>(count) / kPointsPerCell))) + 1;
  side_ = 2.0 * reach / static_cast<double>(across_);
  per_side_ = 1.0 / side_;
  left_ = around.centre.real() - reach;
  bottom_ = around.centre.imag() - reach;
  double largest = reach + std::abs(around.centre);
  begin_.assign(across_ * across_ + 1, 0);
  emit([&](Complex point, std::uint32_t) {
    ++begin_[cell_of(point) + 1];
    largest = std::max({largest, std::abs(point.real()), std::abs(point.imag())});
  });
  slack_ = 1e-6 * largest;
  for (std::size_t cell = 1; cell < begin_.size(); ++cell) begin_[cell] += begin_[cell - 1];
  points_.resize(begin_.back());
  emit([&](Complex point, std::uint32_t id) {
    const std::uint32_t at = begin_[cell_of(point)]++;
    points_[at] = {static_cast<float>(point.real()), static_cast<float>(point.imag()), id};
  });
  for (std::size_t cell = begin_.size() - 1; cell > 0; --cell) begin_[cell] = begin_[cell - 1];
  begin_[0] = 0;
}

template <class Visit>
bool PointGrid::visit(Complex centre, const double& radius, Visit&& visit) const {
  const double wide = radius + slack_;
  const double cy = centre.imag() - bottom_;
  const std::size_t first_row = index((cy - wide) / side_);
  const std::size_t last_row = index((cy + wide) / side_);
  for (std::size_t row = first_row; row <= last_row; ++row) {
    // Border cells hold rounding's strays, so they are as tall as they need be.
    const double low = row == 0 ? cy - wide : static_cast<double>(row) * side_;
    const double high = row + 1 == across_ ? cy + wide : static_cast<double>(row + 1) * side_;
    const double away = std::max(0.0, std::max(low - cy, cy - high));
    const double half = std::isfinite(wide) ? std::sqrt(std::max(0.0, (wide - away) * (wide + away))) : wide;
    const double cx = centre.real() - left_;
    const std::uint32_t from = begin_[row * across_ + index((cx - half) / side_)];
    const std::uint32_t to = begin_[row * across_ + index((cx + half) / side_) + 1];
    for (std::uint32_t at = from; at < to; ++at) {
      const Point& point = points_[at];
      const double dx = static_cast<double>(point.x) - centre.real();
      const double dy = static_cast<double>(point.y) - centre.imag();
      const double r = radius + 2.0 * slack_;
      if (dx * dx + dy * dy > r * r) continue;
      if (!visit(point.id)) return false;
    }
  }
  return true;
}

/// Sums of three changes in different slots of a plane, tabulated once as much work has been spent without
/// them as they cost; never when they are too many.
class TripleTable {
 public:
  /// `around`: nearly all sums lie in it.
  TripleTable(const PlaneModel& plane, const Disc& around);
  /// The table, where it is there; `work`: sums of two asked for since the last call.
  const PointGrid* after(std::uint64_t work) {
    if (!grid_ && work < work_left_) {
      work_left_ -= work;
    } else if (!grid_ && count_ > 0) {
      build();
    }
    return grid_.get();
  }
  [[nodiscard]] bool built() const { return grid_ != nullptr; }
  /// The three entries of an id, by rising slot.
  [[nodiscard]] std::array<std::uint32_t, 3> entries_of(std::uint32_t id) const {
    return {id / base_ / base_, id / base_ % base_, id % base_};
  }
  /// Ids of sums whose lowest entry is this one, or comes later, are not below.
  [[nodiscard]] std::uint64_t first_id(std::uint32_t lowest) const {
    return std::uint64_t{lowest} * base_ * base_;
  }

 private:
  void build();

  const PlaneModel* plane_;
  Disc around_;
  std::uint32_t base_ = 1;
  std::size_t count_ = 0;  ///< zero: too many, or none
  std::uint64_t work_left_ = ~std::uint64_t{0};
  std::shared_ptr<const PointGrid> grid_;
};

/// The tables of one plane: sums of one, two and three changes, and how far sums of more reach.
struct PlaneTables {
  const PlaneModel* plane = nullptr;
  Reach reach;
  PointGrid singles;
  std::shared_ptr<const PointGrid> pairs;  ///< ids: lower entry in the low half; null: not stored
  TripleTable triples;

  PlaneTables(const Model& model, const PlaneModel& of_plane, std::size_t most_changes);
};

[[nodiscard]] inline std::uint32_t lower_of_pair(std::uint32_t id) { return id & 0xffffU; }
[[nodiscard]] inline std::uint32_t higher_of_pair(std::uint32_t id) { return id >> 16U; }

/// How many sums of two changes in different slots a plane has.
[[nodiscard]] std::size_t pair_count(const PlaneModel& plane);

/// Tables of all planes; sums of two are tabulated when first asked for, within a budget of memory, once
/// for planes that are alike.
class Tables {
 public:
  explicit Tables(const Model& model);
  [[nodiscard]] const PlaneTables& plane(std::size_t p) const { return planes_[p]; }
  [[nodiscard]] PlaneTables& plane(std::size_t p) { return planes_[p]; }
  [[nodiscard]] const JointReach& joint() const { return joint_; }
  /// Tabulates the sums of two changes of a plane unless that would take too much memory.
  void want_pairs(const Model& model, std::size_t p);

 private:
  std::vector<PlaneTables> planes_;
  JointReach joint_;
  std::size_t pairs_stored_ = 0;
};

}  // namespace trimwright::slots_detail

#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <memory>
#include <vector>

#include "model.hpp"

namespace trimwright::slots_detail {

/// The changes of a plane's entries in single precision.
struct Changes {
  std::vector<float> x, y;
  explicit Changes(const PlaneModel& plane);
};

/// Points of the plane sorted into square cells, row by row, so that the points in a disc are a few
/// contiguous runs. Single precision: it proposes points, the caller decides in double.
class PointGrid {
 public:
  /// The points `base` + the change of entry e, for the entries from `first` on; their ids are `id` +
  /// e `id_step`. `with`, where given, is zero for entries to leave out.
  struct Run {
    Complex base;
    std::uint32_t first = 0;
    std::uint32_t id = 0, id_step = 1;
    const char* with = nullptr;
  };

  /// Calls `emit(add)` twice; `emit` must call `add(run)` for the same runs in the same order: about `count`
  /// points, nearly all in `around`.
  template <class Emit>
  PointGrid(const PlaneModel& plane, const Disc& around, std::size_t count, Emit&& emit);

  /// Calls `visit(id)` for every point in the disc (and a few just outside), until it returns false.
  /// `radius` may shrink meanwhile.
  template <class Visit>
  bool visit(Complex centre, const double& radius, Visit&& visit) const;

  [[nodiscard]] std::size_t size() const { return begin_.back(); }

 private:
  static constexpr std::size_t kBatch = 128;
  /// Some points of a run and their cells.
  struct Batch {
    std::array<float, kBatch> x, y;
    std::array<std::int32_t, kBatch> cell;
  };
  void lay_out(const Changes& changes, const Run& run, std::size_t from, std::size_t points,
               Batch& batch) const;
  template <class Use>
  void for_each_point(const Changes& changes, const Run& run, Use&& use) const;
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
  double slack_;  ///< rounding of the single precision points
  std::size_t across_;
  std::vector<std::uint32_t> begin_;  ///< per cell, in the points
  std::unique_ptr<Point[]> points_;
};

template <class Use>
void PointGrid::for_each_point(const Changes& changes, const Run& run, Use&& use) const {
  Batch batch;
  for (std::size_t from = run.first; from < changes.x.size(); from += kBatch) {
    const std::size_t points = std::min(kBatch, changes.x.size() - from);
    lay_out(changes, run, from, points, batch);
    for (std::size_t i = 0; i < points; ++i) {
      const auto e = static_cast<std::uint32_t>(from + i);
      if (run.with != nullptr && run.with[e] == 0) continue;
      use(static_cast<std::size_t>(batch.cell[i]), Point{batch.x[i], batch.y[i], run.id + e * run.id_step});
    }
  }
}

template <class Emit>
PointGrid::PointGrid(const PlaneModel& plane, const Disc& around, std::size_t count, Emit&& emit) {
  constexpr double kPointsPerCell = 4.0;
  const double reach = around.radius > 0.0 ? around.radius : 1e-300;
  across_ = static_cast<std::size_t>(std::ceil(std::sqrt(static_cast<double>(count) / kPointsPerCell))) + 1;
  side_ = 2.0 * reach / static_cast<double>(across_);
  left_ = around.centre.real() - reach;
  bottom_ = around.centre.imag() - reach;
  const Changes changes(plane);
  double largest_change = 0.0;
  for (const Entry& entry : plane.entries) largest_change = std::max(largest_change, std::abs(entry.change));
  double largest_base = 0.0;
  begin_.assign(across_ * across_ + 1, 0);
  emit([&](const Run& run) {
    largest_base = std::max({largest_base, std::abs(run.base.real()), std::abs(run.base.imag())});
    for_each_point(changes, run, [&](std::size_t cell, const Point&) { ++begin_[cell + 1]; });
  });
  slack_ = 1e-6 * (reach + std::abs(around.centre) + largest_base + largest_change);
  for (std::size_t cell = 1; cell < begin_.size(); ++cell) begin_[cell] += begin_[cell - 1];
  points_.reset(new Point[begin_.back()]);
  emit([&](const Run& run) {
    for_each_point(changes, run,
                   [&](std::size_t cell, const Point& point) { points_[begin_[cell]++] = point; });
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

}  // namespace trimwright::slots_detail

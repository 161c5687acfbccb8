#include "grid.hpp"

namespace trimwright::slots_detail {

Changes::Changes(const PlaneModel& plane) {
  for (const Entry& entry : plane.entries) {
    x.push_back(static_cast<float>(entry.change.real()));
    y.push_back(static_cast<float>(entry.change.imag()));
  }
}

/// One loop without branches, so that the compiler does several points at a time.
void PointGrid::lay_out(const Changes& changes, const Run& run, std::size_t from, std::size_t points,
                        Batch& batch) const {
  const auto base_x = static_cast<float>(run.base.real());
  const auto base_y = static_cast<float>(run.base.imag());
  const auto left = static_cast<float>(left_);
  const auto bottom = static_cast<float>(bottom_);
  const auto per_side = static_cast<float>(1.0 / side_);
  const auto last = static_cast<float>(across_ - 1);
  const auto across = static_cast<std::int32_t>(across_);
  const float* from_x = changes.x.data() + from;
  const float* from_y = changes.y.data() + from;
  const auto index = [&](float position) {
    position = position > 0.0F ? position : 0.0F;
    return static_cast<std::int32_t>(position < last ? position : last);
  };
  for (std::size_t i = 0; i < points; ++i) {
    const float x = base_x + from_x[i];
    const float y = base_y + from_y[i];
    batch.x[i] = x;
    batch.y[i] = y;
    batch.cell[i] = index((y - bottom) * per_side) * across + index((x - left) * per_side);
  }
}

}  // namespace trimwright::slots_detail

#pragma once

#include <algorithm>
#include <array>
#include <cassert>
#include <cstddef>

namespace trimwright {

/// Median of the last `Size` values.
template <std::size_t Size>
class RunningMedian {
 public:
  void push(double value) {
    values_[next_] = value;
    next_ = (next_ + 1) % Size;
    count_ = std::min(count_ + 1, Size);
  }
  void clear() { next_ = count_ = 0; }
  [[nodiscard]] bool empty() const { return count_ == 0; }
  [[nodiscard]] std::size_t count() const { return count_; }

  [[nodiscard]] double median() const {
    assert(count_ > 0);
    std::array<double, Size> sorted = values_;
    const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(count_ / 2);
    std::nth_element(sorted.begin(), middle, sorted.begin() + static_cast<std::ptrdiff_t>(count_));
    return *middle;
  }

 private:
  std::array<double, Size> values_{};
  std::size_t next_ = 0;
  std::size_t count_ = 0;
};

}  // namespace trimwright

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
    auto end = sorted_.begin() + static_cast<std::ptrdiff_t>(count_);
    if (count_ == Size) {
      std::copy(std::lower_bound(sorted_.begin(), end, values_[next_]) + 1, end,
                std::lower_bound(sorted_.begin(), end, values_[next_]));
      --end;
    } else {
      ++count_;
    }
    const auto place = std::upper_bound(sorted_.begin(), end, value);
    std::copy_backward(place, end, end + 1);
    *place = value;
    values_[next_] = value;
    next_ = (next_ + 1) % Size;
  }
  void clear() { next_ = count_ = 0; }
  [[nodiscard]] bool empty() const { return count_ == 0; }
  [[nodiscard]] std::size_t count() const { return count_; }

  [[nodiscard]] double median() const {
    assert(count_ > 0);
    return sorted_[count_ / 2];
  }

 private:
  std::array<double, Size> values_{}, sorted_{};
  std::size_t next_ = 0;
  std::size_t count_ = 0;
};

}  // namespace trimwright

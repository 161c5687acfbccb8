#pragma once

#include <chrono>

namespace trimwright::slots_detail {

/// A moment after which work stops; cheap to ask often.
class Deadline {
 public:
  using Clock = std::chrono::steady_clock;
  explicit Deadline(Clock::time_point end) : end_(end) {}

  /// Looks at the clock once in a while (every 64 questions).
  [[nodiscard]] bool passed() {
    if (!passed_ && (++asked_ & 63U) == 0) passed_ = Clock::now() >= end_;
    return passed_;
  }
  /// Looks at the clock now.
  [[nodiscard]] bool passed_now() {
    passed_ = passed_ || Clock::now() >= end_;
    return passed_;
  }

 private:
  Clock::time_point end_;
  unsigned asked_ = 0;
  bool passed_ = false;
};

}  // namespace trimwright::slots_detail

#pragma once

#include <algorithm>
#include <chrono>

namespace trimwright {

/// The moment at which a call must come to its end; cheap to ask often. Made once, where the call begins, and
/// handed down, so that all parts of the call share one limit.
class Deadline {
 public:
  using Clock = std::chrono::steady_clock;
  explicit Deadline(Clock::time_point end) : end_(end) {}
  /// `seconds` from now.
  [[nodiscard]] static Deadline after(double seconds) { return Deadline(Clock::now() + duration(seconds)); }

  /// An earlier one, for a part of the work that may take this share of the time left.
  [[nodiscard]] Deadline after_share(double share) const {
    return Deadline(std::min(end_, Clock::now() + duration(share * seconds_left())));
  }
  [[nodiscard]] double seconds_left() const {
    return std::max(0.0, std::chrono::duration<double>(end_ - Clock::now()).count());
  }

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
  static Clock::duration duration(double seconds) {
    return std::chrono::duration_cast<Clock::duration>(
        std::chrono::duration<double>(std::clamp(seconds, 0.0, 1e9)));
  }

  Clock::time_point end_;
  unsigned asked_ = 0;
  bool passed_ = false;
};

}  // namespace trimwright

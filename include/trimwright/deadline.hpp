#pragma once

#include <algorithm>
#include <chrono>

namespace trimwright {

/// The moment at which a call must come to its end; cheap to ask often. Made once, where the call begins, and
/// handed down, so that all parts of the call share one limit.
class Deadline {
 public:
  using Clock = std::chrono::steady_clock;
  using Now = Clock::time_point (*)();  ///< tells the time to any thread; tests have their own
  explicit Deadline(Clock::time_point end, Now now = Clock::now) : now_(now), end_(end) {}
  /// `seconds` from now.
  [[nodiscard]] static Deadline after(double seconds, Now now = Clock::now) {
    return Deadline(std::min(now() + duration(seconds), interruption()), now);
  }
  /// What `Now` tells once a person has asked for an end: later than every deadline.
  [[nodiscard]] static constexpr Clock::time_point interruption() {
    return Clock::time_point(Clock::duration::max() / 2);
  }
  [[nodiscard]] static Deadline never() { return Deadline(interruption()); }
  /// Whether a person asked for the end.
  [[nodiscard]] bool interrupted() const { return now_() >= interruption(); }

  /// An earlier one, for a part of the work that may take this share of the time left.
  [[nodiscard]] Deadline after_share(double share) const {
    return Deadline(std::min(end_, now_() + duration(share * seconds_left())), now_);
  }
  [[nodiscard]] double seconds_left() const {
    return std::max(0.0, std::chrono::duration<double>(end_ - now_()).count());
  }

  /// Looks at the clock once in a while (every 64 questions).
  [[nodiscard]] bool passed() {
    if (!passed_ && (++asked_ & 63U) == 0) passed_ = now_() >= end_;
    return passed_;
  }
  /// Looks at the clock now.
  [[nodiscard]] bool passed_now() {
    passed_ = passed_ || now_() >= end_;
    return passed_;
  }

 private:
  static Clock::duration duration(double seconds) {
    return std::chrono::duration_cast<Clock::duration>(
        std::chrono::duration<double>(std::clamp(seconds, 0.0, 1e9)));
  }

  Now now_;
  Clock::time_point end_;
  unsigned asked_ = 0;
  bool passed_ = false;
};

}  // namespace trimwright

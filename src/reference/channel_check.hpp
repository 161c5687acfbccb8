#pragma once

#include <cstdint>
#include <span>
#include <string>
#include "trimwright/error.hpp"
#include "trimwright/reference.hpp"

namespace trimwright {

/// Watches one channel, block by block, in constant memory.
class ChannelCheck {
 public:
  explicit ChannelCheck(std::string name) : name_(std::move(name)) {}

  /// Error: a sample that is not a finite number, with its time.
  [[nodiscard]] Result<void> look_at(std::span<const float> samples, double sample_rate_hz);
  [[nodiscard]] ChannelCondition condition() const;
  [[nodiscard]] const std::string& name() const { return name_; }

 private:
  /// One end of the range, and how often the signal has stood still there.
  struct Limit {
    float value = 0.0F;
    std::int64_t run = 0, flat = 0, flat_runs = 0;
    std::int64_t near = 0;  ///< samples within a hundredth of the range, but not at the limit
    void look_at(float from_limit, float near_distance, float sample);
  };

  void look_at_stretch(std::span<const float> samples);
  void look_at_steps(std::span<const float> samples, float range);

  std::string name_;
  Limit high_, low_;
  std::int64_t samples_ = 0;
  double sum_ = 0.0, squares_ = 0.0;
  float first_ = 0.0F, previous_ = 0.0F, smallest_step_ = 0.0F;
  bool fine_steps_ = false;  ///< with few quantisation steps, crests are flat anyway
};

}  // namespace trimwright

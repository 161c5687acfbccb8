#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace trimwright {

/// The most recent samples of one channel, with their running sum, addressed by sample number since the start
/// of the recording. Positions may lie between samples; a sample stands for the unit interval centred on it,
/// in which the signal has the slope between its neighbours: where a revolution takes a whole number of
/// samples each tooth would otherwise look larger or smaller by where the samples fall on it, in every
/// revolution alike.
class SignalHistory {
 public:
  struct Smoothed {
    double value = 0.0;
    double slope = 0.0;  ///< per sample
  };

  /// Raised-cosine (Hann) weights 1 + cos(pi t / half_width) over +-half_width samples.
  struct Window {
    explicit Window(double half_width_samples);
    double half_width;
    double step, step_cosine, step_sine;  ///< angle of the cosine from sample to sample
  };

  void append(std::span<const float> samples, float sign);
  void discard_before(std::int64_t sample);

  [[nodiscard]] std::int64_t first() const { return first_; }
  [[nodiscard]] std::int64_t end() const { return first_ + static_cast<std::int64_t>(samples_.size()); }
  [[nodiscard]] std::span<const float> from(std::int64_t sample) const;

  /// Integral of the signal from `begin` to `end` [unit samples], both clamped to what is kept.
  [[nodiscard]] double area(double begin, double end) const;
  /// Mean over centre +- half_width; at the ends of what is kept the window shrinks but stays centred.
  [[nodiscard]] double mean(double centre, double half_width) const;
  /// Signal smoothed by `window` centred at `centre`. The window is symmetric, so a signal that is odd about
  /// a point still crosses zero at that point; what its samples' lying aside of it adds is taken off.
  [[nodiscard]] Smoothed smoothed(double centre, const Window& window) const;

 private:
  [[nodiscard]] double sum_to(double position) const;

  std::vector<float> samples_;
  std::vector<double> sums_;  ///< sums_[i]: sum of all samples before samples_[i]
  double total_ = 0.0;
  std::int64_t first_ = 0;
};

}  // namespace trimwright

#pragma once

#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

namespace trimwright::simulated {

/// A ring of teeth turning at a steadily changing speed, and the signal its pickup gives.
///
/// The shaft angle is `start_rad` at time 0; tooth k passes at the angles 2 pi (k / teeth + whole turns) plus
/// its spacing error, tooth 0 being the larger one. Each pitch gives one full sine (or a narrower one, see
/// `duty`) crossing zero at the tooth's centre, its amplitude proportional to speed.
struct RingSignal {
  int teeth = 34;
  double larger_ratio = 1.3;
  double full_rpm = 5000.0;
  double rpm = 2500.0;
  double rpm_per_s = 0.0;
  double start_rad = 0.3;
  double sample_rate_hz = 51200.0;
  double duty = 1.0;           ///< part of the pitch the pulse fills
  double noise_rms_db = -200;  ///< relative to the pulses' rms at each speed
  double drop_probability = 0.0;
  double extra_probability = 0.0;
  double wander = 0.0;  ///< amplitude of a slow offset, relative to the pulse amplitude at full speed
  double wander_hz = 1.0;
  bool rising = false;
  std::vector<double> spacing_error_rad;  ///< empty: none
  std::vector<double> height;  ///< of single teeth, relative; empty: all one, times larger_ratio for tooth 0
  std::uint64_t seed = 1;

  [[nodiscard]] double angle(double time_s) const {
    return start_rad + 2.0 * std::numbers::pi / 60.0 * time_s * (rpm + 0.5 * rpm_per_s * time_s);
  }
  [[nodiscard]] double speed_rpm(double time_s) const { return rpm + rpm_per_s * time_s; }
  [[nodiscard]] double spacing_error(int tooth) const {
    return spacing_error_rad.empty() ? 0.0 : spacing_error_rad[static_cast<std::size_t>(tooth)];
  }
  [[nodiscard]] double tooth_height(int tooth) const {
    const double own = height.empty() ? 1.0 : height[static_cast<std::size_t>(tooth)];
    return tooth == 0 ? own * larger_ratio : own;
  }

  [[nodiscard]] std::vector<float> samples(double seconds) const {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> noise;
    std::uniform_real_distribution<double> chance;
    const double pitch = 2.0 * std::numbers::pi / teeth;
    const double noise_rms = std::sqrt(0.5 * duty) * std::pow(10.0, noise_rms_db / 20.0);
    std::vector<float> signal(static_cast<std::size_t>(seconds * sample_rate_hz));
    std::int64_t passage = std::numeric_limits<std::int64_t>::min();
    bool dropped = false;
    double extra_at = 10.0;  // position of an extra pulse within the pitch, beyond the pitch: none
    for (std::size_t i = 0; i < signal.size(); ++i) {
      const double time = static_cast<double>(i) / sample_rate_hz;
      const double theta = angle(time);
      const auto nearest = static_cast<std::int64_t>(std::llround(theta / pitch));
      if (nearest != passage) {
        passage = nearest;
        dropped = chance(random) < drop_probability;
        extra_at = chance(random) < extra_probability ? 0.3 * (chance(random) < 0.5 ? -1.0 : 1.0) : 10.0;
      }
      const int tooth = static_cast<int>(((nearest % teeth) + teeth) % teeth);
      const double from_centre =
          (theta - pitch * static_cast<double>(nearest) - spacing_error(tooth)) / pitch;
      double value = dropped ? 0.0 : tooth_height(tooth) * pulse(from_centre / duty);
      value += pulse((from_centre - extra_at) / 0.15);
      const double growth = speed_rpm(time) / full_rpm;
      value = growth * (value + noise_rms * noise(random)) +
              wander * std::sin(2.0 * std::numbers::pi * wander_hz * time);
      signal[i] = static_cast<float>(rising ? -value : value);
    }
    return signal;
  }

 private:
  static double pulse(double x) { return std::abs(x) < 0.5 ? -std::sin(2.0 * std::numbers::pi * x) : 0.0; }
};

}  // namespace trimwright::simulated

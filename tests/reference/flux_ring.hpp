#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

namespace trimwright::simulated {

/// A stretch of a recording in which the pickup gives `gain` times its signal.
struct GainSpan {
  double begin_s = 0.0, end_s = 0.0, gain = 0.0;
};

/// A ring of ferrous teeth before an inductive pickup, from the flux up: nothing here knows how it is read.
///
/// Each tooth adds a bump of flux around its centre; the bumps overlap where they are wide. The signal is the
/// time derivative of the flux (Faraday), so it falls through zero as a tooth's centre passes. Run-out makes
/// the flux of all teeth vary once per turn. Tooth 0 is the reference.
struct FluxRing {
  enum class Bump { bell, flat, cosine };

  int teeth = 34;
  Bump bump = Bump::bell;
  double half_width = 0.22;                      ///< of the bump [pitches]
  std::vector<double> height, width, place_rad;  ///< per tooth: relative, relative, out of place
  double run_out = 0.0, run_out_at_rad = 0.0;    ///< part by which the flux varies
  double full_rpm = 5000.0, rpm = 3000.0, rpm_per_s = 0.0;
  double wander = 0.0, wander_hz = 0.3;  ///< relative, of the speed
  double start_rad = 0.0, at_rad = 0.0;  ///< of the shaft; where the element sits on the ring
  double rate_hz = 25600.0;
  double noise = 0.001;  ///< rms over the peak of an ordinary tooth at full speed
  double hum = 0.0, hum_hz = 50.0, offset = 0.0, clip = 0.0, quantum = 0.0;
  double missing = 0.0;  ///< probability of each pulse
  std::vector<GainSpan> spans;
  double gain_per_s = 0.0, offset_per_s = 0.0;  ///< slow drift of the signal
  bool rising = false;
  std::uint64_t seed = 1;

  explicit FluxRing(int count = 34) : teeth(count) {
    const auto n = static_cast<std::size_t>(count);
    height.assign(n, 1.0);
    width.assign(n, 1.0);
    place_rad.assign(n, 0.0);
  }

  [[nodiscard]] double angle(double t) const {
    const double w = 2.0 * std::numbers::pi * wander_hz;
    return start_rad + std::numbers::pi / 30.0 *
                           (t * (rpm + 0.5 * rpm_per_s * t) + rpm * wander * (1.0 - std::cos(w * t)) / w);
  }
  [[nodiscard]] double speed_rpm(double t) const {
    return rpm * (1.0 + wander * std::sin(2.0 * std::numbers::pi * wander_hz * t)) + rpm_per_s * t;
  }

  [[nodiscard]] std::vector<float> samples(double seconds) const {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> chance;
    std::vector<float> signal(static_cast<std::size_t>(seconds * rate_hz));
    std::vector<char> lost(static_cast<std::size_t>(angle(seconds) / (2.0 * std::numbers::pi) * teeth) + 8);
    for (char& one : lost) one = chance(random) < missing ? 1 : 0;
    const double pitch = 2.0 * std::numbers::pi / teeth, unit = steepest() / full_rpm;
    for (std::size_t i = 0; i < signal.size(); ++i) {
      const double t = static_cast<double>(i) / rate_hz, theta = angle(t) - at_rad;
      const auto nearest = static_cast<std::int64_t>(std::llround(theta / pitch));
      double slope = 0.0;
      for (std::int64_t k = nearest - 1; k <= nearest + 1; ++k) {
        const auto tooth = static_cast<std::size_t>(((k % teeth) + teeth) % teeth);
        const auto passage = static_cast<std::size_t>(std::max<std::int64_t>(0, k + teeth));
        if (passage < lost.size() && lost[passage] != 0) continue;
        const double gap = 1.0 + run_out * std::cos(pitch * static_cast<double>(k) - run_out_at_rad);
        const double x = (theta - pitch * static_cast<double>(k) - place_rad[tooth]) / pitch;
        slope += gap * height[tooth] * bump_slope(x / (half_width * width[tooth])) / width[tooth];
      }
      double value = slope / unit * speed_rpm(t) / (full_rpm * full_rpm);
      for (const GainSpan& span : spans)
        if (t >= span.begin_s && t < span.end_s) value *= span.gain;
      value *= 1.0 + gain_per_s * t;
      value += noise * normal(random) + hum * std::sin(2.0 * std::numbers::pi * hum_hz * t) + offset +
               offset_per_s * t;
      if (rising) value = -value;
      if (clip > 0.0) value = std::clamp(value, -clip, clip);
      if (quantum > 0.0) value = quantum * std::round(value / quantum);
      signal[i] = static_cast<float>(value);
    }
    return signal;
  }

  /// Re(X e^{j theta}), harmonics, another rotor's vibration at `other_order` times the speed, noise.
  [[nodiscard]] std::vector<float> vibration(double seconds, std::complex<double> x, double noise_rms,
                                             double other_order = 0.0, double other = 0.0) const {
    std::mt19937_64 random(seed + 77);
    std::normal_distribution<double> normal;
    const double other_phase = 6.28 * std::uniform_real_distribution<double>()(random);
    std::vector<float> signal(static_cast<std::size_t>(seconds * rate_hz));
    for (std::size_t i = 0; i < signal.size(); ++i) {
      const double theta = angle(static_cast<double>(i) / rate_hz);
      signal[i] = static_cast<float>(
          std::real(x * std::polar(1.0, theta)) + 0.2 * std::abs(x) * std::cos(2.0 * theta + 1.0) +
          other * std::cos(other_order * theta + other_phase) + noise_rms * normal(random));
    }
    return signal;
  }

 private:
  [[nodiscard]] double bump_slope(double u) const {
    if (std::abs(u) > 9.0) return 0.0;  // below 1e-15 of the steepest
    switch (bump) {
      case Bump::bell:
        return -u * std::exp(-0.5 * u * u);
      case Bump::flat: {  // a plateau with soft shoulders
        const double a = 1.0 / std::cosh(2.5 * (u + 0.9)), b = 1.0 / std::cosh(2.5 * (u - 0.9));
        return a * a - b * b;
      }
      case Bump::cosine:
        return std::abs(u) < 2.2 ? -std::sin(std::numbers::pi * u / 2.2) : 0.0;
    }
    return 0.0;
  }
  /// Largest slope of an ordinary tooth's bump.
  [[nodiscard]] double steepest() const {
    double most = 0.0;
    for (double u = 0.0; u < 3.0; u += 0.01) most = std::max(most, std::abs(bump_slope(u)));
    return most;
  }
};

}  // namespace trimwright::simulated

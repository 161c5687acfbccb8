#pragma once

#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include "ring_signal.hpp"

namespace trimwright::simulated {

/// A sensor's signal on the rotor of a `RingSignal`: Re(X e^{j theta}) and what comes beside it.
struct VibrationSignal {
  std::complex<double> once = {1.0, 0.0};         ///< peak, lead, referred to the larger tooth
  std::vector<std::complex<double>> higher = {};  ///< second, third, ... harmonic
  double offset = 0.0, drift_per_s = 0.0;
  double noise = 0.0;  ///< standard deviation
  double other_order = 0.0,
         other_amplitude = 0.0;  ///< vibration of another shaft, a multiple of this one's speed
  double delay_s = 0.0;          ///< the chain's own
  std::uint64_t seed = 7;

  [[nodiscard]] std::vector<float> samples(const RingSignal& ring, double seconds) const {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    std::vector<float> signal(static_cast<std::size_t>(seconds * ring.sample_rate_hz));
    for (std::size_t i = 0; i < signal.size(); ++i) {
      const double time = static_cast<double>(i) / ring.sample_rate_hz;
      const double theta = ring.angle(time - delay_s);
      double value = offset + drift_per_s * time + std::real(once * std::polar(1.0, theta)) +
                     other_amplitude * std::cos(other_order * theta) + noise * normal(random);
      for (std::size_t h = 0; h < higher.size(); ++h)
        value += std::real(higher[h] * std::polar(1.0, static_cast<double>(h + 2) * theta));
      signal[i] = static_cast<float>(value);
    }
    return signal;
  }
};

}  // namespace trimwright::simulated

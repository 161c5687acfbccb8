#pragma once

#include <complex>

#include "trimwright/phasor.hpp"

namespace trimwright {

/// The derivative with respect to time of a once-per-revolution vibration, `times` over; negative: the
/// integral.
///
/// x = Re(X e^{j Omega t}) has the derivative Re(j Omega X e^{j Omega t}): displacement to velocity to
/// acceleration is one factor j Omega each (Harris' Shock and Vibration Handbook, chapter 2).
/// `omega_rad_per_s` > 0. True for a synchronous phasor at steady speed only, never for an overall level.
[[nodiscard]] inline Phasor differentiated(Phasor x, double omega_rad_per_s, int times = 1) {
  const std::complex<double> factor(0.0, omega_rad_per_s);
  for (; times > 0; --times) x *= factor;
  for (; times < 0; ++times) x /= factor;
  return x;
}

/// What entered a sensor and its chain, from the phasor of what came out.
///
/// The chain is late by `delay_s` and turns the phase by a further `phase_shift_rad` (positive: lead).
[[nodiscard]] inline Phasor before_chain(Phasor measured, double omega_rad_per_s, double delay_s,
                                         double phase_shift_rad) {
  return measured * std::polar(1.0, omega_rad_per_s * delay_s - phase_shift_rad);
}

}  // namespace trimwright

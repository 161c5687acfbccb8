#pragma once

#include <span>

#include "trimwright/phasor.hpp"

namespace trimwright {

/// The steady part of a series of phasors, told apart from a neighbour's.
struct LevelFit {
  enum class Beside {
    nothing,  ///< scatter without memory: the plain mean is as good
    line,     ///< a steady vibration at another frequency (another rotor)
    band      ///< wander with memory (a narrow resonance stirred by noise)
  };
  Beside beside = Beside::nothing;
  Phasor value;
  double sd = 0.0;         ///< per real component
  double line_hz = 0.0;    ///< of the line, from the shaft's once per revolution
  double amplitude = 0.0;  ///< of the line
};

/// Least squares of a constant, of a constant beside one rotating line, and of a complex autoregression of
/// first order about a constant; the one that the Bayesian information criterion prefers (G. Schwarz, Annals
/// of Statistics 6, 1978; the line's frequency from its periodogram: D. C. Rife and R. R. Boorstyn, IEEE
/// Trans. Information Theory 20, 1974). `times_s` rise; a line needs at least 0.6 turns over the series.
/// A block that holds no whole number of the neighbour's turns shows its mirror image too, turning the other
/// way (a real sine is two lines; F. J. Harris, Proc. IEEE 66, 1978, on leakage): where it shows, it is
/// fitted beside the line.
[[nodiscard]] LevelFit fit_level(std::span<const double> times_s, std::span<const Phasor> series);

}  // namespace trimwright

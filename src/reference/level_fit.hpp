#pragma once

#include <complex>
#include <optional>
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
  double sd = 0.0;       ///< per real component
  double line_hz = 0.0;  ///< of the line, from the shaft's once per revolution, as the series shows it
  Phasor line;
};

/// Least squares of a constant, of a constant beside one rotating line, and of a complex autoregression of
/// first order about a constant; the one that the Bayesian information criterion prefers (G. Schwarz, Annals
/// of Statistics 6, 1978; the line's frequency from its periodogram: D. C. Rife and R. R. Boorstyn, IEEE
/// Trans. Information Theory 20, 1974). `times_s` rise; a line needs at least 0.6 turns over the series.
/// `whitened`: the same series without the memory that overlapping gives it; `density`: how many times a
/// mean's variance that of one over their number, for that memory. A line is fitted to the series itself,
/// because whitening begins with a jump of it.
[[nodiscard]] LevelFit fit_level(std::span<const double> times_s, std::span<const Phasor> series,
                                 std::span<const Phasor> whitened, double density);

/// Phasors of pairs of blocks that overlap by half have a correlation of 1/6 in white noise: a moving average
/// of first order, x_i = e_i + theta e_{i-1}. y_i = (1 + theta) x_i - theta y_{i-1} is white and keeps the
/// level (G. E. P. Box and G. M. Jenkins, Time Series Analysis, section 3.3).
inline constexpr double overlap_theta = 0.17157287525380990;  // 3 - 2 sqrt 2: theta / (1 + theta^2) = 1/6

/// A vibration beside shaft speed.
struct Neighbour {
  double hz = 0.0;  ///< from once per revolution
  double amplitude = 0.0;
};

/// Where the line of `level` lies: a series tells a frequency only up to a whole turn per entry; the halves
/// of the tapered pairs (`turning`, whitened as the series) say which. `hop_s`: from pair to pair;
/// `per_entry`: pairs averaged in each entry. Nothing when none is near that would turn so: what leaks from
/// afar.
[[nodiscard]] std::optional<Neighbour> neighbour_of(const LevelFit& level, std::span<const double> times_s,
                                                    std::span<const Phasor> turning, double hop_s,
                                                    int per_entry);

}  // namespace trimwright

#include "level_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

namespace trimwright {
namespace {

constexpr std::size_t fewest_phasors = 8;
constexpr double fewest_turns = 0.6;     ///< of the line over the series
constexpr double steps_per_turn = 6.0;   ///< of the search, per turn over the series
constexpr double search_penalty = 12.0;  ///< in twice the log likelihood: the best of many frequencies
constexpr double memory_penalty = 3.0;   ///< keeps plain scatter of a dozen phasors from passing for memory
constexpr int refinements = 24;
constexpr double most_memory = 0.995;
constexpr double most_unlike_rad = 0.5;  ///< between the halves of a pair as they are and as they should be

/// A constant beside e^{j w t}: normal equations of two unknowns.
struct LineFit {
  Phasor constant, line;
  double left = 0.0;     ///< sum of squares
  double overlap = 0.0;  ///< squared correlation of the line with the constant
};

/// `wave(i)`: e^{j w t} at the i-th phasor, asked for in order.
template <class Wave>
LineFit line_fit(std::span<const Phasor> x, Wave wave) {
  const double n = static_cast<double>(x.size());
  Phasor sum, turned, waves;
  double squares = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const Phasor here = wave(i);
    sum += x[i];
    turned += x[i] * std::conj(here);
    waves += here;
    squares += std::norm(x[i]);
  }
  LineFit fit;
  const double determinant = n * n - std::norm(waves);
  fit.overlap = std::norm(waves) / (n * n);
  fit.constant = (n * sum - waves * turned) / determinant;
  fit.line = (n * turned - std::conj(waves) * sum) / determinant;
  fit.left = std::max(0.0, squares - std::real(std::conj(fit.constant) * sum + std::conj(fit.line) * turned));
  return fit;
}

LineFit with_line(std::span<const double> t, std::span<const Phasor> x, double w) {
  return line_fit(x, [&](std::size_t i) { return std::polar(1.0, w * (t[i] - t[0])); });
}

/// What a line leaves when the phasors come at even times, `step_rad` of its turn apart: quicker, for the
/// search.
double left_at_even_times(std::span<const Phasor> x, double step_rad) {
  const Phasor step = std::polar(1.0, step_rad);
  Phasor next = 1.0;
  return line_fit(x,
                  [&](std::size_t) {
                    return std::exchange(next, Phasor(next.real() * step.real() - next.imag() * step.imag(),
                                                      next.real() * step.imag() + next.imag() * step.real()));
                  })
      .left;
}

/// Where `left` is least between `low` and `high`, by golden section.
template <class Left>
double least_between(double low, double high, Left left) {
  const double golden = 0.5 * (std::sqrt(5.0) - 1.0);
  double a = high - golden * (high - low), b = low + golden * (high - low);
  double at_a = left(a), at_b = left(b);
  for (int i = 0; i < refinements; ++i) {
    if (at_a < at_b) {
      high = std::exchange(b, a);
      at_b = at_a;
      a = high - golden * (high - low);
      at_a = left(a);
    } else {
      low = std::exchange(a, b);
      at_a = at_b;
      b = low + golden * (high - low);
      at_b = left(b);
    }
  }
  return 0.5 * (low + high);
}

bool at_even_times(std::span<const double> t) {
  const double mean = (t.back() - t.front()) / static_cast<double>(t.size() - 1);
  for (std::size_t i = 0; i < t.size(); ++i)
    if (std::abs(t[i] - t[0] - mean * static_cast<double>(i)) > 0.1 * mean) return false;
  return true;
}

/// Of the search for a line's frequency [rad/s].
double step_between(std::span<const double> t) {
  return 2.0 * std::numbers::pi / (steps_per_turn * (t.back() - t.front()));
}

double best_frequency(std::span<const double> t, std::span<const Phasor> x) {
  const double length = t.back() - t.front(), step = step_between(t);
  const double highest = std::numbers::pi * static_cast<double>(x.size() - 1) / length;
  const double lowest = 2.0 * std::numbers::pi * fewest_turns / length;
  const bool even = at_even_times(t);
  const double apart_s = length / static_cast<double>(t.size() - 1);
  double best = lowest, least = std::numeric_limits<double>::infinity();
  for (double w = lowest; w <= highest; w += step)
    for (const double signed_w : {w, -w})
      if (const double left =
              even ? left_at_even_times(x, signed_w * apart_s) : with_line(t, x, signed_w).left;
          left < least) {
        least = left;
        best = signed_w;
      }
  const double refined =
      least_between(best - step, best + step, [&](double w) { return with_line(t, x, w).left; });
  return std::abs(refined) < lowest ? best : refined;
}

/// x_{i+1} = c + phi x_i + e.
struct MemoryFit {
  Phasor constant, memory;
  double left = 0.0;
};

MemoryFit with_memory(std::span<const Phasor> x) {
  const double n = static_cast<double>(x.size() - 1);
  Phasor from, to, product;
  double squares = 0.0;
  for (std::size_t i = 0; i + 1 < x.size(); ++i) {
    from += x[i] / n;
    to += x[i + 1] / n;
  }
  for (std::size_t i = 0; i + 1 < x.size(); ++i) {
    product += (x[i + 1] - to) * std::conj(x[i] - from);
    squares += std::norm(x[i] - from);
  }
  MemoryFit fit;
  fit.memory = squares > 0.0 ? product / squares : Phasor(0.0);
  if (std::abs(fit.memory) > most_memory) fit.memory *= most_memory / std::abs(fit.memory);
  fit.constant = (to - fit.memory * from) / (1.0 - fit.memory);
  for (std::size_t i = 0; i + 1 < x.size(); ++i)
    fit.left += std::norm(x[i + 1] - to - fit.memory * (x[i] - from));
  return fit;
}

/// Variance that the mean of `x` has times their number, where covariances fall off by one factor from the
/// first lag on and white noise adds to the variance alone (a first-order autoregression in noise; G. E. P.
/// Box and G. M. Jenkins, Time Series Analysis, section 3.4). The mean takes its own variance out of each
/// covariance: it is put back.
double long_run_variance(std::span<const Phasor> x, Phasor mean) {
  const std::size_t n = x.size();
  std::array<Phasor, 3> covariance{};
  for (std::size_t lag = 0; lag < covariance.size(); ++lag)
    for (std::size_t i = 0; i + lag < n; ++i)
      covariance[lag] += (x[i + lag] - mean) * std::conj(x[i] - mean) / static_cast<double>(n - lag);
  double all = covariance[0].real();
  for (int step = 0; step < 8; ++step) {
    const double taken = all / static_cast<double>(n);
    const Phasor first = covariance[1] + taken;
    Phasor memory = std::abs(first) > 0.0 ? (covariance[2] + taken) / first : Phasor(0.0);
    if (std::abs(memory) > most_memory) memory *= most_memory / std::abs(memory);
    all = std::clamp(covariance[0].real() + taken + 2.0 * std::real(first / (1.0 - memory)), 0.0,
                     covariance[0].real() * static_cast<double>(n));
  }
  return all;
}

double twice_likelihood(double count, double left) {
  return -2.0 * count * std::log(std::max(left, 1e-300) / count);
}

/// How a vibration that turns by `g` from the middle of a tapered pair of blocks to its end shows: in its
/// value, and in the difference of its halves over j (`FittedPhasor::turning`).
struct Shown {
  double value, turning;
};

Shown shown(double g) {
  const double pi = std::numbers::pi;
  if (std::abs(g) < 1e-3) return {1.0, g * (0.5 - 2.0 / (pi * pi))};
  if (std::abs(std::abs(g) - pi) < 1e-3) return {0.5, std::copysign(2.0 / pi, g)};
  return {std::sin(g) / g / (1.0 - g * g / (pi * pi)),
          (1.0 - std::cos(g)) / g + (1.0 + std::cos(g)) * g / (g * g - pi * pi)};
}

}  // namespace

std::optional<Neighbour> neighbour_of(const LevelFit& level, std::span<const double> times_s,
                                      std::span<const Phasor> turning, double hop_s, int per_entry) {
  const double w = 2.0 * std::numbers::pi * level.line_hz;
  Phasor sum;
  for (std::size_t i = 0; i < turning.size(); ++i)
    sum += turning[i] * std::polar(1.0 / static_cast<double>(turning.size()), -w * (times_s[i] - times_s[0]));
  const double seen = std::atan(std::imag(sum / level.line));
  std::optional<Neighbour> best;
  double least = most_unlike_rad;
  const double alias_hz = 1.0 / (hop_s * per_entry);
  const int aliases = per_entry + 1;
  for (int alias = -aliases; alias <= aliases; ++alias) {
    const double hz = level.line_hz + alias * alias_hz;
    const double turn = 2.0 * std::numbers::pi * hz * hop_s;  // from pair to pair
    const Shown one = shown(turn);
    if (std::abs(hz * hop_s) > 0.95) continue;  // hardly anything of it would show
    const double unlike = std::abs(seen - std::atan(one.turning / one.value));
    if (unlike >= least) continue;
    least = unlike;
    const double half = 0.5 * turn, averaged = std::abs(std::sin(half)) > 1e-6
                                                   ? std::sin(per_entry * half) / (per_entry * std::sin(half))
                                                   : 1.0;
    best = Neighbour{hz, std::abs(level.line) / std::abs(one.value * averaged)};
  }
  return best;
}

LevelFit fit_level(std::span<const double> times_s, std::span<const Phasor> series,
                   std::span<const Phasor> whitened, double density) {
  const double n = static_cast<double>(series.size());
  LevelFit fit;
  Phasor mean, mean_of_series;
  for (const Phasor x : whitened) mean += x / n;
  for (const Phasor x : series) mean_of_series += x / n;
  fit.value = mean;
  double scatter = 0.0, of_series = 0.0;
  for (const Phasor x : whitened) scatter += std::norm(x - mean);
  for (const Phasor x : series) of_series += std::norm(x - mean_of_series);
  fit.sd = std::sqrt(0.5 * scatter / (n * std::max(1.0, n - 1.0)));
  if (series.size() < fewest_phasors || scatter <= 1e-20 * n * std::norm(mean)) return fit;
  const double each = std::log(2.0 * n);
  const double w = best_frequency(times_s, series);
  const LineFit line = with_line(times_s, series, w);
  const MemoryFit band = with_memory(whitened);
  const double gain_line =
      twice_likelihood(n, line.left) - twice_likelihood(n, of_series) - 3.0 * each - search_penalty;
  const double gain_band =
      (twice_likelihood(n - 1.0, band.left) - twice_likelihood(n - 1.0, scatter * (n - 1.0) / n)) -
      2.0 * each - memory_penalty;
  if (std::max(gain_line, gain_band) <= 0.0) return fit;
  if (gain_line >= gain_band)
    return {LevelFit::Beside::line, line.constant,
            std::sqrt(0.5 * density * line.left / (n - 2.5) / (n * (1.0 - line.overlap))),
            w / (2.0 * std::numbers::pi), line.line};
  fit.beside = LevelFit::Beside::band;
  if (std::norm(band.constant - mean) >
      scatter / n) {  // a course through many speeds: beyond all that was seen
    fit.sd = std::sqrt(0.5 * scatter / n);
    return fit;
  }
  fit.value = band.constant;
  const double plain_sd = std::sqrt(0.5 * band.left / (n - 3.0) / (n - 1.0)) / std::abs(1.0 - band.memory);
  fit.sd = std::max(plain_sd, std::sqrt(0.5 * long_run_variance(whitened, mean) / n));
  return fit;
}

}  // namespace trimwright

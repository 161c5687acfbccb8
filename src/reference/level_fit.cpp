#include "level_fit.hpp"

#include <Eigen/Cholesky>
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
constexpr double least_own_part = 0.1;  ///< of a term, not shared with the others, to be fitted beside them

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

/// A constant beside a line and the line's mirror image.
struct MirrorFit {
  Phasor constant, line;
  double left = std::numeric_limits<double>::infinity();
  double variance = 1.0;  ///< of the constant, over that of one phasor
};

MirrorFit with_mirror(std::span<const double> t, std::span<const Phasor> x, double w) {
  const auto n = static_cast<Eigen::Index>(x.size());
  Eigen::Matrix3cd normal = Eigen::Matrix3cd::Zero();
  Eigen::Vector3cd right = Eigen::Vector3cd::Zero();
  double squares = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const Phasor here = std::polar(1.0, w * (t[i] - t[0]));
    const Eigen::Vector3cd row(1.0, here, std::conj(here));
    normal += row.conjugate() * row.transpose();
    right += row.conjugate() * x[i];
    squares += std::norm(x[i]);
  }
  MirrorFit fit;
  const Eigen::LDLT<Eigen::Matrix3cd> solver(normal);
  if (!(solver.vectorD().real().minCoeff() > least_own_part * static_cast<double>(n))) return fit;
  const Eigen::Vector3cd found = solver.solve(right);
  fit.constant = found[0];
  fit.line = found[1];
  fit.left = std::max(0.0, squares - found.dot(right).real());
  fit.variance = solver.solve(Eigen::Vector3cd::UnitX())[0].real();
  return fit;
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

/// The level beside a line that turns by about `w`, and beside the line's mirror image where that shows.
LevelFit level_beside(const LineFit& line, double w, std::span<const double> t, std::span<const Phasor> x) {
  const double n = static_cast<double>(x.size()), step = step_between(t);
  LevelFit fit{LevelFit::Beside::line, line.constant, 0.0, w / (2.0 * std::numbers::pi), std::abs(line.line)};
  fit.sd = std::sqrt(0.5 * line.left / (n - 2.5) / (n * (1.0 - line.overlap)));
  const double near = least_between(w - step, w + step, [&](double v) { return with_mirror(t, x, v).left; });
  const MirrorFit mirror = with_mirror(t, x, near);
  if (twice_likelihood(n, mirror.left) - twice_likelihood(n, line.left) <= 2.0 * std::log(2.0 * n))
    return fit;
  fit.value = mirror.constant;
  fit.sd = std::sqrt(0.5 * mirror.left / (n - 3.5) * mirror.variance);
  fit.line_hz = near / (2.0 * std::numbers::pi);
  fit.amplitude = std::abs(mirror.line);
  return fit;
}

}  // namespace

LevelFit fit_level(std::span<const double> times_s, std::span<const Phasor> series) {
  const double n = static_cast<double>(series.size());
  LevelFit fit;
  Phasor mean;
  for (const Phasor x : series) mean += x / n;
  fit.value = mean;
  double scatter = 0.0;
  for (const Phasor x : series) scatter += std::norm(x - mean);
  fit.sd = std::sqrt(0.5 * scatter / (n * std::max(1.0, n - 1.0)));
  if (series.size() < fewest_phasors || scatter <= 1e-20 * n * std::norm(mean)) return fit;
  const double plain = twice_likelihood(n, scatter), each = std::log(2.0 * n);
  const double w = best_frequency(times_s, series);
  const LineFit line = with_line(times_s, series, w);
  const MemoryFit band = with_memory(series);
  const double gain_line = twice_likelihood(n, line.left) - plain - 3.0 * each - search_penalty;
  const double gain_band =
      (twice_likelihood(n - 1.0, band.left) - twice_likelihood(n - 1.0, scatter * (n - 1.0) / n)) -
      2.0 * each - memory_penalty;
  if (std::max(gain_line, gain_band) <= 0.0) return fit;
  if (gain_line >= gain_band) return level_beside(line, w, times_s, series);
  fit.beside = LevelFit::Beside::band;
  fit.value = band.constant;
  const double plain_sd = std::sqrt(0.5 * band.left / (n - 3.0) / (n - 1.0)) / std::abs(1.0 - band.memory);
  fit.sd = std::max(plain_sd, std::sqrt(0.5 * long_run_variance(series, mean) / n));
  return fit;
}

}  // namespace trimwright

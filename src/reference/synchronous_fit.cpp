#include "synchronous_fit.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>
#include <utility>

namespace trimwright {
namespace {

constexpr Eigen::Index chunk = 256;       ///< samples whose regressors are held at once
constexpr double longest_arc_rad = 0.4;   ///< over which sine and cosine are expanded about its middle
constexpr Eigen::Index fewest_spare = 4;  ///< samples beyond the number of coefficients
constexpr double steps_per_turn_of_taper = 8.0;

using Table = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor>;

/// Which samples lie in [begin_s, end_s).
struct SampleRange {
  Eigen::Index begin, end;
};

SampleRange samples_between(double begin_s, double end_s, double first_s, double rate_hz,
                            Eigen::Index count) {
  const auto at = [&](double time) {
    return std::clamp(static_cast<Eigen::Index>(std::ceil((time - first_s) * rate_hz)), Eigen::Index{0},
                      count);
  };
  return {at(begin_s), at(end_s)};
}

/// cos and sin of the shaft angle at each of a run of samples.
///
/// Each piece of the track is cut into arcs of at most 0.4 rad; within an arc e^{j theta} is the value at its
/// middle times a Taylor polynomial in the angle from there (at most 0.2 rad plus the arc's curvature: the
/// first term left out, delta^9 / 9!, is below 1e-11).
class Rotation {
 public:
  Rotation(const ToothTrack& track, double first_s, double rate_hz, Eigen::Index count)
      : track_(track), first_s_(first_s), rate_hz_(rate_hz), count_(count) {}

  void write(Eigen::Index begin, Eigen::Index end, double* cosine, double* sine) {
    Eigen::Index now = begin;
    while (now < end) {
      while (now >= arc_end_) next_arc();
      const Eigen::Index stop = std::min(end, arc_end_);
      write_arc(now, stop, cosine + (now - begin), sine + (now - begin));
      now = stop;
    }
  }

 private:
  void next_arc() {
    if (arc_ == arcs_) {
      piece_ = track_.piece(next_piece_++);
      const double turned = piece_.angle(piece_.end_s - piece_.begin_s) - piece_.angle_rad;
      arcs_ = std::max(1, static_cast<int>(std::ceil(std::abs(turned) / longest_arc_rad)));
      arc_ = 0;
    }
    const double length = (piece_.end_s - piece_.begin_s) / arcs_;
    const double begin_u = length * arc_;
    ++arc_;
    const bool last = next_piece_ == track_.pieces() && arc_ == arcs_;
    const double end_s = piece_.begin_s + begin_u + length;
    arc_end_ = last ? count_ : samples_between(end_s, end_s, first_s_, rate_hz_, count_).begin;
    middle_u_ = begin_u + 0.5 * length;
    const double middle_rad = std::fmod(piece_.angle(middle_u_), 2.0 * std::numbers::pi);
    middle_cosine_ = std::cos(middle_rad);
    middle_sine_ = std::sin(middle_rad);
  }

  void write_arc(Eigen::Index begin, Eigen::Index end, double* cosine, double* sine) const {
    const double speed = piece_.speed_after(middle_u_) / rate_hz_;
    const double c2 = (piece_.c2 + 3.0 * piece_.c3 * middle_u_) / (rate_hz_ * rate_hz_);
    const double c3 = piece_.c3 / (rate_hz_ * rate_hz_ * rate_hz_);
    const double begin_u = (first_s_ - piece_.begin_s - middle_u_) * rate_hz_ + static_cast<double>(begin);
    const int n = static_cast<int>(end - begin);
    for (int i = 0; i < n; ++i) {
      const double u = begin_u + i;
      const double d = u * (speed + u * (c2 + u * c3));
      const double dd = d * d;
      const double c = 1.0 - dd * (0.5 - dd * (1.0 / 24.0 - dd * (1.0 / 720.0 - dd * (1.0 / 40320.0))));
      const double s = d * (1.0 - dd * (1.0 / 6.0 - dd * (1.0 / 120.0 - dd * (1.0 / 5040.0))));
      cosine[i] = middle_cosine_ * c - middle_sine_ * s;
      sine[i] = middle_sine_ * c + middle_cosine_ * s;
    }
  }

  const ToothTrack& track_;
  double first_s_, rate_hz_;
  Eigen::Index count_;
  ToothTrack::Piece piece_{};
  std::size_t next_piece_ = 0;
  int arc_ = 0, arcs_ = 0;
  Eigen::Index arc_end_ = 0;
  double middle_u_ = 0.0, middle_cosine_ = 1.0, middle_sine_ = 0.0;
};

/// Columns 2h-2 and 2h-1: cos and sin of h theta, from those of theta.
void write_harmonics(Table& waves, Eigen::Index rows) {
  const double *const c1 = waves.col(0).data(), *const s1 = waves.col(1).data();
  for (Eigen::Index next = 2; next < waves.cols(); next += 2) {
    const double *const c = waves.col(next - 2).data(), *const s = waves.col(next - 1).data();
    double *const next_c = waves.col(next).data(), *const next_s = waves.col(next + 1).data();
    for (Eigen::Index i = 0; i < rows; ++i) {
      next_c[i] = c[i] * c1[i] - s[i] * s1[i];
      next_s[i] = s[i] * c1[i] + c[i] * s1[i];
    }
  }
}

/// Sum of `term(i)`, four sums side by side: several times as quick as each waiting for the one before.
template <class Term>
double sum_of(Eigen::Index rows, Term term) {
  double a = 0.0, b = 0.0, c = 0.0, d = 0.0;
  Eigen::Index i = 0;
  for (; i + 4 <= rows; i += 4) {
    a += term(i);
    b += term(i + 1);
    c += term(i + 2);
    d += term(i + 3);
  }
  for (; i < rows; ++i) a += term(i);
  return (a + b) + (c + d);
}

double sum(const double* x, Eigen::Index rows) {
  return sum_of(rows, [x](Eigen::Index i) { return x[i]; });
}

double dot(const double* x, const double* y, Eigen::Index rows) {
  return sum_of(rows, [x, y](Eigen::Index i) { return x[i] * y[i]; });
}

/// What each regressor times each other sums up to. Of two waves the sums of the waves at the sum and the
/// difference of their angles tell it: `waves` are given to twice the highest harmonic that is fitted.
void write_gram(Eigen::MatrixXd& gram, const Table& waves, const double* drift, Eigen::Index rows) {
  const Eigen::Index constant = waves.cols() / 2, harmonics = constant / 2;
  std::array<Phasor, 2 * most_harmonics + 1> sums{static_cast<double>(rows)};  // of e^{j h theta}
  for (Eigen::Index h = 1; h <= 2 * harmonics; ++h)
    sums[static_cast<std::size_t>(h)] = {sum(waves.col(2 * h - 2).data(), rows),
                                         sum(waves.col(2 * h - 1).data(), rows)};
  for (Eigen::Index h = 1; h <= harmonics; ++h)
    for (Eigen::Index g = 1; g <= h; ++g) {
      const Phasor both = sums[static_cast<std::size_t>(h + g)],
                   apart = sums[static_cast<std::size_t>(h - g)];
      gram(2 * h - 2, 2 * g - 2) = 0.5 * (apart + both).real();
      gram(2 * h - 1, 2 * g - 1) = 0.5 * (apart - both).real();
      gram(2 * h - 1, 2 * g - 2) = 0.5 * (both + apart).imag();
      gram(2 * h - 2, 2 * g - 1) = 0.5 * (both - apart).imag();
    }
  for (Eigen::Index wave = 0; wave < constant; ++wave) {
    const Phasor here = sums[static_cast<std::size_t>(wave / 2 + 1)];
    gram(constant, wave) = wave % 2 == 0 ? here.real() : here.imag();
    gram(constant + 1, wave) = dot(drift, waves.col(wave).data(), rows);
  }
  gram(constant, constant) = static_cast<double>(rows);
  gram(constant + 1, constant) = sum(drift, rows);
  gram(constant + 1, constant + 1) = dot(drift, drift, rows);
  gram.triangularView<Eigen::StrictlyUpper>() = gram.transpose();
}

void write_right(SynchronousSums& piece, Eigen::Index channel, const Table& waves, const double* drift,
                 const double* samples, Eigen::Index rows) {
  const Eigen::Index constant = waves.cols() / 2;
  for (Eigen::Index wave = 0; wave < constant; ++wave)
    piece.right(wave, channel) = dot(waves.col(wave).data(), samples, rows);
  piece.right(constant, channel) = sum(samples, rows);
  piece.right(constant + 1, channel) = dot(drift, samples, rows);
  piece.squares[channel] = dot(samples, samples, rows);
}

SynchronousSums nothing_yet(Eigen::Index width, Eigen::Index channels) {
  return {Table::Zero(width, width), Table::Zero(width, channels), Eigen::ArrayXd::Zero(channels), 0.0};
}

void add_weighted(SynchronousSums& sums, double weight, const SynchronousSums& piece) {
  sums.gram += weight * piece.gram;
  sums.right += weight * piece.right;
  sums.squares += weight * piece.squares;
  sums.weight += weight * piece.weight;
}

/// Of the taper, constant over each step: what it lets through lies near multiples of that many times shaft
/// speed.
Eigen::Index taper_step(const ToothTrack& track, Eigen::Index rows) {
  const double turned = track.points().back().angle_rad - track.points().front().angle_rad;
  const double steps = steps_per_turn_of_taper * std::abs(turned) / (2.0 * std::numbers::pi);
  return std::clamp(static_cast<Eigen::Index>(static_cast<double>(rows) / std::max(1.0, steps)),
                    Eigen::Index{1}, chunk);
}

BlockSums accumulated(const ToothTrack& track, std::span<const std::span<const float>> channels,
                      double first_s, double rate_hz, int harmonics, SampleRange range) {
  const Eigen::Index width = 2 * harmonics + 2, all_rows = range.end - range.begin;
  const auto count = static_cast<Eigen::Index>(channels.size());
  BlockSums sums{nothing_yet(width, count), nothing_yet(width, count)};
  SynchronousSums piece = nothing_yet(width, count);
  Table waves(chunk, 4 * harmonics);
  std::array<double, chunk> drift{}, samples{};
  Rotation rotation(track, first_s, rate_hz, range.end);
  const double middle = 0.5 * static_cast<double>(range.begin + range.end - 1);
  const double scale = 2.0 / static_cast<double>(all_rows);
  const Eigen::Index step = taper_step(track, all_rows);
  for (Eigen::Index begin = range.begin; begin < range.end; begin += step) {
    const Eigen::Index rows = std::min(step, range.end - begin);
    rotation.write(begin, begin + rows, waves.col(0).data(), waves.col(1).data());
    write_harmonics(waves, rows);
    for (Eigen::Index i = 0; i < rows; ++i)
      drift[static_cast<std::size_t>(i)] = scale * (static_cast<double>(begin + i) - middle);
    write_gram(piece.gram, waves, drift.data(), rows);
    for (Eigen::Index channel = 0; channel < count; ++channel) {
      const float* const data = channels[static_cast<std::size_t>(channel)].data() + begin;
      std::copy(data, data + rows, samples.begin());
      write_right(piece, channel, waves, drift.data(), samples.data(), rows);
    }
    piece.weight = static_cast<double>(rows);
    const double along =
        (static_cast<double>(begin - range.begin) + 0.5 * piece.weight) / static_cast<double>(all_rows);
    add_weighted(sums.all, 1.0, piece);
    add_weighted(sums.rising, 0.5 * (1.0 - std::cos(std::numbers::pi * along)), piece);
  }
  return sums;
}

/// The drift counted from `middles` half blocks before the block's own middle.
SynchronousSums with_drift_from(SynchronousSums sums, double middles) {
  const Eigen::Index drift = sums.gram.rows() - 1, constant = drift - 1;
  sums.gram.col(drift) += middles * sums.gram.col(constant);
  sums.gram.row(drift) += middles * sums.gram.row(constant);
  sums.right.row(drift) += middles * sums.right.row(constant);
  return sums;
}

/// `bandwidth`: sum of squared weights over that of the weights.
std::vector<FittedPhasor> phasors(const SynchronousSums& sums, const Eigen::LDLT<Table>& factors,
                                  const Table& coefficients, double bandwidth) {
  const Eigen::Index width = sums.gram.rows();
  const Eigen::VectorXd inverses = factors.solve(Table::Identity(width, width)).diagonal();
  const double inverse = 0.5 * (inverses[0] + inverses[1]);
  std::vector<FittedPhasor> fits(static_cast<std::size_t>(sums.right.cols()));
  for (std::size_t k = 0; k < fits.size(); ++k) {
    const auto column = static_cast<Eigen::Index>(k);
    const auto beta = coefficients.col(column);
    const double left = std::max(0.0, sums.squares[column] - sums.right.col(column).dot(beta));
    fits[k].value = Phasor(beta[0], -beta[1]);
    fits[k].left_over = std::sqrt(left / (sums.weight - bandwidth * static_cast<double>(width)));
    fits[k].sd = fits[k].left_over * std::sqrt(inverse);
    fits[k].offset = beta[width - 2];
  }
  return fits;
}

}  // namespace

std::optional<BlockSums> synchronous_sums(const ToothTrack& track,
                                          std::span<const std::span<const float>> channels, double first_s,
                                          double sample_rate_hz, int harmonics) {
  assert(harmonics >= 1 && harmonics <= most_harmonics);
  if (channels.empty()) return BlockSums();
  const auto available = static_cast<Eigen::Index>(channels.front().size());
  const SampleRange range =
      samples_between(track.begin_s(), track.end_s(), first_s, sample_rate_hz, available);
  if (range.end - range.begin < 2 * harmonics + 2 + fewest_spare) return std::nullopt;
  return accumulated(track, channels, first_s, sample_rate_hz, harmonics, range);
}

std::vector<FittedPhasor> fitted(const SynchronousSums& sums) {
  if (sums.right.cols() == 0) return {};
  const Eigen::LDLT<Table> factors(sums.gram);
  return phasors(sums, factors, factors.solve(sums.right), 1.0);
}

std::vector<FittedPhasor> fitted_pair(const BlockSums& before, const BlockSums& now) {
  if (now.all.right.cols() == 0) return {};
  SynchronousSums sums = with_drift_from(before.rising, -1.0);
  SynchronousSums falling = now.all;
  add_weighted(falling, -1.0, now.rising);
  falling = with_drift_from(std::move(falling), 1.0);
  add_weighted(sums, 1.0, falling);
  const Eigen::LDLT<Table> factors(sums.gram);
  const Table coefficients = factors.solve(sums.right);
  auto fits = phasors(sums, factors, coefficients, 0.75);
  // What each half has beyond the fit; both together are nothing.
  const Table beyond = factors.solve(Table(falling.right - falling.gram * coefficients));
  for (std::size_t k = 0; k < fits.size(); ++k) {
    const auto column = static_cast<Eigen::Index>(k);
    fits[k].turning = 2.0 * Phasor(beyond(0, column), -beyond(1, column));
  }
  return fits;
}

std::vector<FittedPhasor> fit_synchronous(const ToothTrack& track,
                                          std::span<const std::span<const float>> channels, double first_s,
                                          double sample_rate_hz, int harmonics) {
  const auto sums = synchronous_sums(track, channels, first_s, sample_rate_hz, harmonics);
  return sums ? fitted(sums->all) : std::vector<FittedPhasor>();
}

}  // namespace trimwright

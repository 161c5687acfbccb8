#include "synchronous_fit.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
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
void write_harmonics(Table& regressors, Eigen::Index rows, int harmonics) {
  const auto c1 = regressors.col(0).head(rows).array(), s1 = regressors.col(1).head(rows).array();
  for (int h = 2; h <= harmonics; ++h) {
    const auto c = regressors.col(2 * h - 4).head(rows).array(),
               s = regressors.col(2 * h - 3).head(rows).array();
    regressors.col(2 * h - 2).head(rows) = c * c1 - s * s1;
    regressors.col(2 * h - 1).head(rows) = s * c1 + c * s1;
  }
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
  Table regressors(chunk, width), samples(chunk, count);
  regressors.col(width - 2).setOnes();
  Rotation rotation(track, first_s, rate_hz, range.end);
  const double middle = 0.5 * static_cast<double>(range.begin + range.end - 1);
  const double scale = 2.0 / static_cast<double>(all_rows);
  const Eigen::Index step = taper_step(track, all_rows);
  for (Eigen::Index begin = range.begin; begin < range.end; begin += step) {
    const Eigen::Index rows = std::min(step, range.end - begin);
    rotation.write(begin, begin + rows, regressors.col(0).data(), regressors.col(1).data());
    write_harmonics(regressors, rows, harmonics);
    const double from_middle = static_cast<double>(begin) - middle;
    regressors.col(width - 1).head(rows) = Eigen::VectorXd::LinSpaced(
        rows, scale * from_middle, scale * (from_middle + static_cast<double>(rows - 1)));
    for (Eigen::Index channel = 0; channel < count; ++channel) {
      const float* const data = channels[static_cast<std::size_t>(channel)].data() + begin;
      samples.col(channel).head(rows) = Eigen::Map<const Eigen::VectorXf>(data, rows).cast<double>();
      piece.squares[channel] = samples.col(channel).head(rows).squaredNorm();
    }
    const auto used = regressors.topRows(rows);
    piece.gram.noalias() = used.transpose() * used;
    piece.right.noalias() = used.transpose() * samples.topRows(rows);
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
  assert(harmonics >= 1);
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

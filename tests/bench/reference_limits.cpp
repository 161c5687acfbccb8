// Scatter and bias of readings against the Cramer-Rao bound, and what tooth jitter costs.
//
//   reference_limits [TRIALS]
//
// The shortest dwell, 104 revolutions at 3000 rpm, 10240 samples a second, 34 teeth. The bound is for one
// sinusoid of known frequency in white noise with its second and third harmonic, a constant and a drift per
// block of 8 revolutions unknown (S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation
// Theory, 1993, section 3.9 and theorem 4.1). Teeth are exact, or each passage is off by a normal deviate;
// with jitter the track goes through the jittered teeth, the spacing errors known to be zero.

#include <fmt/format.h>

#include <Eigen/Cholesky>
#include <array>
#include <cmath>
#include <cstdlib>
#include <optional>
#include <random>
#include <utility>

#include "../reference/vibration_signal.hpp"
#include "reference/dwell.hpp"
#include "trimwright/phasor.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

constexpr int teeth = 34, harmonics = 3, blocks = 13, block_revolutions = 8;

RingSignal shaft() {
  RingSignal ring;
  ring.sample_rate_hz = 10240.0;
  ring.rpm = 3000.0;
  return ring;
}

/// Track of one block; teeth off by `jitter_rad`.
ToothTrack track_of(const RingSignal& ring, int block, double jitter_rad, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  const double speed = ring.rpm * std::numbers::pi / 30.0;
  std::vector<TrackPoint> points;
  for (int i = 0; i <= block_revolutions * teeth; ++i) {
    const double angle =
        2.0 * std::numbers::pi * (1 + block * block_revolutions + static_cast<double>(i) / teeth);
    const double late_rad = jitter_rad > 0.0 ? jitter_rad * normal(random) : 0.0;
    points.push_back({(angle - ring.start_rad + late_rad) / speed, angle});
  }
  return *ToothTrack::through(std::move(points));
}

/// Bound on the sum of both components' variances of the mean over the blocks, for unit noise.
double bound(const RingSignal& ring) {
  std::mt19937_64 unused;
  double sum = 0.0;
  for (int block = 0; block < blocks; ++block) {
    const ToothTrack track = track_of(ring, block, 0.0, unused);
    Eigen::MatrixXd information = Eigen::MatrixXd::Zero(2 * harmonics + 2, 2 * harmonics + 2);
    const auto first = static_cast<int>(std::ceil(track.begin_s() * ring.sample_rate_hz));
    const auto end = static_cast<int>(std::ceil(track.end_s() * ring.sample_rate_hz));
    for (int i = first; i < end; ++i) {
      const double t = i / ring.sample_rate_hz, theta = ring.angle(t);
      Eigen::VectorXd slope(2 * harmonics + 2);
      for (int h = 1; h <= harmonics; ++h) {
        slope[2 * h - 2] = std::cos(h * theta);
        slope[2 * h - 1] = -std::sin(h * theta);
      }
      slope[2 * harmonics] = 1.0;
      slope[2 * harmonics + 1] = t - 0.5 * (track.begin_s() + track.end_s());
      information += slope * slope.transpose();
    }
    const Eigen::MatrixXd inverse =
        information.ldlt().solve(Eigen::MatrixXd::Identity(information.rows(), information.cols()));
    sum += inverse(0, 0) + inverse(1, 1);
  }
  return sum / (blocks * blocks);
}

struct Errors {
  double amplitude_squares = 0.0, phase_squares = 0.0, amplitude = 0.0, phase = 0.0;
  double stated_squares = 0.0;
};

Errors measured(const RingSignal& ring, double noise, double jitter_rad, int trials) {
  VibrationSignal vibration;
  vibration.once = std::polar(1.0, 0.7);
  vibration.higher = {0.4, 0.2};
  vibration.offset = 0.3;
  vibration.noise = noise;
  std::mt19937_64 random(11);
  const double seconds = (blocks * block_revolutions + 2) * 60.0 / ring.rpm;
  Errors errors;
  for (int trial = 0; trial < trials; ++trial) {
    vibration.seed = static_cast<std::uint64_t>(trial + 1);
    const std::vector<float> samples = vibration.samples(ring, seconds);
    const std::array<std::span<const float>, 1> channels{samples};
    DwellSums sums;
    std::optional<BlockSums> before;
    for (int block = 0; block < blocks; ++block) {
      const ToothTrack track = track_of(ring, block, jitter_rad, random);
      auto now = synchronous_sums(track, channels, 0.0, ring.sample_rate_hz, harmonics);
      if (before) {
        BlockReading pair;
        pair.tapered = true;
        pair.span = {track.begin_s() - (track.end_s() - track.begin_s()), track.end_s()};
        pair.speed_rpm = ring.rpm;
        pair.channels = fitted_pair(*before, *now);
        sums.add(pair);
      }
      before = std::move(now);
    }
    const ChannelReading reading = sums.reading({}).channels.at(0);
    const Phasor mean = reading.value;
    errors.stated_squares += reading.sd * reading.sd / trials;
    const double amplitude = std::abs(mean) - 1.0, phase = std::arg(mean / vibration.once);
    errors.amplitude += amplitude / trials;
    errors.phase += phase / trials;
    errors.amplitude_squares += amplitude * amplitude / trials;
    errors.phase_squares += phase * phase / trials;
  }
  return errors;
}

}  // namespace

int main(int argc, char** argv) {
  const int trials = argc > 1 ? std::atoi(argv[1]) : 4000;
  const RingSignal ring = shaft();
  const double per_component = 0.5 * bound(ring);
  fmt::print("{} trials; a variance ratio is known to {:.1f} %, a bias to {:.3f} standard deviations\n\n",
             trials, 100.0 * std::sqrt(2.0 / trials), 1.0 / std::sqrt(trials));
  fmt::print(
      "amplitude/noise  jitter [deg]   variance over bound   bias/sd            sd beyond the bound    "
      "stated\n");
  fmt::print(
      "   [dB]                        amplitude    phase   amplitude  phase    amplitude    phase [deg]\n");
  for (const double jitter_deg : {0.0, 0.02, 0.1})
    for (const double level_db : {-20.0, -10.0, 0.0, 10.0, 20.0, 40.0}) {
      const double noise = std::pow(10.0, -level_db / 20.0);
      const Errors e = measured(ring, noise, radians(jitter_deg), trials);
      const double lowest = noise * noise * per_component;  // amplitude 1: the same for amplitude and phase
      fmt::print("{:7.0f} {:12.2f} {:15.3f} {:9.3f} {:10.3f} {:7.3f} {:13.2e} {:12.2e} {:9.3f}\n", level_db,
                 jitter_deg, e.amplitude_squares / lowest, e.phase_squares / lowest,
                 e.amplitude / std::sqrt(e.amplitude_squares), e.phase / std::sqrt(e.phase_squares),
                 std::sqrt(std::max(0.0, e.amplitude_squares - lowest)),
                 degrees(std::sqrt(std::max(0.0, e.phase_squares - lowest))), e.stated_squares / lowest);
    }
}

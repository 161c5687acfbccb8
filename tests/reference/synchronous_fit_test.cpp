#include "reference/synchronous_fit.hpp"

#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <array>
#include <cmath>
#include <numbers>

#include "reference/kinematics.hpp"
#include "vibration_signal.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

constexpr double seconds = 0.2;

RingSignal shaft() {
  RingSignal ring;
  ring.sample_rate_hz = 5120.0;
  ring.rpm = 2900.0;
  ring.rpm_per_s = 40.0;
  return ring;
}

ToothTrack exact_track(const RingSignal& ring) {
  std::vector<TrackPoint> points;
  for (double t = 0.0; t < seconds; t += 0.001) points.push_back({t, ring.angle(t)});
  return *ToothTrack::through(std::move(points));
}

/// Cramer-Rao bound on (Re X, Im X) in white noise of unit variance, the harmonics, constant and drift
/// unknown: the leading part of the inverse of the Fisher information (S. M. Kay, Estimation Theory, 1993,
/// section 3.9).
Eigen::Matrix2d bound(const RingSignal& ring, const ToothTrack& track, int harmonics) {
  Eigen::MatrixXd information = Eigen::MatrixXd::Zero(2 * harmonics + 2, 2 * harmonics + 2);
  for (std::size_t i = 0;; ++i) {
    const double t = static_cast<double>(i) / ring.sample_rate_hz;
    if (t < track.begin_s()) continue;
    if (t >= track.end_s()) break;
    Eigen::VectorXd slope(2 * harmonics + 2);
    for (int h = 1; h <= harmonics; ++h) {
      slope[2 * h - 2] = std::cos(h * ring.angle(t));
      slope[2 * h - 1] = -std::sin(h * ring.angle(t));
    }
    slope[2 * harmonics] = 1.0;
    slope[2 * harmonics + 1] = t;
    information += slope * slope.transpose();
  }
  const Eigen::MatrixXd inverse =
      information.ldlt().solve(Eigen::MatrixXd::Identity(information.rows(), information.rows()));
  return inverse.topLeftCorner<2, 2>();
}

FittedPhasor fitted(const ToothTrack& track, const std::vector<float>& samples, double rate,
                    int harmonics = 3) {
  const std::array<std::span<const float>, 1> channels{samples};
  const auto fits = fit_synchronous(track, channels, 0.0, rate, harmonics);
  REQUIRE(fits.size() == 1);
  return fits.front();
}

}  // namespace

TEST_CASE("without noise the once-per-revolution phasor is returned beside harmonics, offset and drift") {
  const RingSignal ring = shaft();
  VibrationSignal vibration;
  vibration.once = std::polar(2.0, 1.1);
  vibration.higher = {std::polar(5.0, 0.3), std::polar(3.0, -2.0)};
  vibration.offset = 20.0;
  vibration.drift_per_s = 30.0;
  const FittedPhasor fit = fitted(exact_track(ring), vibration.samples(ring, seconds), ring.sample_rate_hz);
  CHECK(std::abs(fit.value - vibration.once) < 2e-6);  // samples are single precision
}

TEST_CASE(
    "the phase is the lead: a peak a quarter turn before the reference tooth passes leads by 90 degrees") {
  RingSignal ring = shaft();
  ring.rpm_per_s = 0.0;
  ring.start_rad = 0.0;  // the tooth passes at time 0
  const double omega = ring.rpm * std::numbers::pi / 30.0;
  std::vector<float> samples;
  for (int i = 0; i < 1024; ++i) {
    const double quarter_turn_s = 0.5 * std::numbers::pi / omega;
    const double t = static_cast<double>(i) / ring.sample_rate_hz;
    samples.push_back(static_cast<float>(std::cos(omega * (t + quarter_turn_s))));
  }
  CHECK(std::arg(fitted(exact_track(ring), samples, ring.sample_rate_hz).value) ==
        doctest::Approx(0.5 * std::numbers::pi));
}

TEST_CASE(
    "with exact teeth the scatter is the Cramer-Rao bound and the bias a small part of it, whatever the "
    "noise") {
  const RingSignal ring = shaft();
  const ToothTrack track = exact_track(ring);
  const Eigen::Matrix2d per_unit_variance = bound(ring, track, 3);
  constexpr int trials = 4000;
  for (const double noise : {0.01, 0.3, 3.0}) {
    CAPTURE(noise);
    VibrationSignal vibration;
    vibration.once = std::polar(1.0, 0.8);
    vibration.higher = {0.5, 0.2};
    vibration.noise = noise;
    std::complex<double> sum;
    double squares = 0.0, said = 0.0;
    for (int trial = 0; trial < trials; ++trial) {
      vibration.seed = static_cast<std::uint64_t>(1000 + trial);
      const FittedPhasor fit = fitted(track, vibration.samples(ring, seconds), ring.sample_rate_hz);
      sum += fit.value - vibration.once;
      squares += std::norm(fit.value - vibration.once);
      said += fit.sd * fit.sd;
    }
    const double variance = squares / trials, lowest = noise * noise * per_unit_variance.trace();
    CHECK(variance / lowest < 1.1);  // the ratio itself is known to 1.6 %
    CHECK(variance / lowest > 0.9);
    CHECK(2.0 * said / trials == doctest::Approx(lowest).epsilon(0.05));
    CHECK(std::abs(sum) / trials < 0.1 * std::sqrt(0.5 * variance));
  }
}

TEST_CASE("two blocks tapered: exact beside harmonics and drift, and the scatter is as white noise has it") {
  const RingSignal ring = shaft();
  const auto half = [&](double from, double to) {
    std::vector<TrackPoint> points;
    for (int i = 0; i <= 100; ++i)
      points.push_back({from + (to - from) * i / 100, ring.angle(from + (to - from) * i / 100)});
    return *ToothTrack::through(std::move(points));
  };
  const ToothTrack tracks[] = {half(0.0, 0.09), half(0.09, 0.18)};
  const auto pair = [&](const std::vector<float>& samples) {
    const std::array<std::span<const float>, 1> channels{samples};
    return fitted_pair(*synchronous_sums(tracks[0], channels, 0.0, ring.sample_rate_hz, 3),
                       *synchronous_sums(tracks[1], channels, 0.0, ring.sample_rate_hz, 3))
        .at(0);
  };
  VibrationSignal vibration;
  vibration.once = std::polar(2.0, 1.1);
  vibration.higher = {std::polar(5.0, 0.3), std::polar(3.0, -2.0)};
  vibration.offset = 20.0;
  vibration.drift_per_s = 30.0;
  const FittedPhasor exact = pair(vibration.samples(ring, seconds));
  CHECK(std::abs(exact.value - vibration.once) < 4e-6);
  CHECK(std::abs(exact.turning) < 4e-6);
  vibration.noise = 0.5;
  double squares = 0.0, said = 0.0;
  constexpr int trials = 1500;
  for (int trial = 0; trial < trials; ++trial) {
    vibration.seed = static_cast<std::uint64_t>(trial + 1);
    const FittedPhasor fit = pair(vibration.samples(ring, seconds));
    squares += 0.5 * std::norm(fit.value - vibration.once) / trials;
    said += 0.75 * fit.sd * fit.sd / trials;  // a Hann window's noise bandwidth: 3/2 bins, 3/4 of a block's
  }
  CHECK(squares / said > 0.9);
  CHECK(squares / said < 1.1);
}

TEST_CASE("too few samples give no fit rather than a wild one") {
  const auto track = ToothTrack::through({{0.0, 0.0}, {0.001, 6.0}});
  const std::vector<float> samples(100, 1.0F);
  const std::array<std::span<const float>, 1> channels{samples};
  CHECK(fit_synchronous(*track, channels, 0.0, 5000.0, 3).empty());
}

TEST_CASE(
    "acceleration, velocity and displacement of one vibration differ by the speed and a quarter turn each") {
  // x = 2 cos(w t + 0.5): v = -2 w sin(w t + 0.5), a = -2 w^2 cos(w t + 0.5).
  const double w = 300.0;
  const Phasor x = std::polar(2.0, 0.5);
  CHECK(std::abs(differentiated(x, w) - std::polar(600.0, 0.5 + 0.5 * std::numbers::pi)) < 1e-9);
  CHECK(std::abs(differentiated(x, w, 2) + 180000.0 * std::polar(1.0, 0.5)) < 1e-6);
  CHECK(std::abs(differentiated(differentiated(x, w, 2), w, -2) - x) < 1e-12);
}

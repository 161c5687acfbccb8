#include "reference/tooth_tracker.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

#include "ring_signal.hpp"

using namespace trimwright;
using simulated::RingSignal;

namespace {

std::vector<ToothPulse> tracked(const RingSignal& signal, double seconds, std::size_t piece = 5000) {
  const ToothRing ring{signal.teeth, signal.rising ? CentreSlope::rising : CentreSlope::falling,
                       0.04 * signal.full_rpm, 1.2 * signal.full_rpm, 0.0};
  auto tracker = ToothTracker::create(ring, signal.sample_rate_hz);
  REQUIRE(tracker);
  const std::vector<float> samples = signal.samples(seconds);
  std::vector<ToothPulse> pulses;
  for (std::size_t begin = 0; begin < samples.size(); begin += piece) {
    const auto some =
        tracker->push(std::span(samples).subspan(begin, std::min(piece, samples.size() - begin)));
    pulses.insert(pulses.end(), some.begin(), some.end());
  }
  const auto rest = tracker->finish();
  pulses.insert(pulses.end(), rest.begin(), rest.end());
  return pulses;
}

/// rms distance of the pulses from the nearest true tooth centre [pitches].
double rms_error(const std::vector<ToothPulse>& pulses, const RingSignal& signal) {
  double squares = 0.0;
  for (const ToothPulse& pulse : pulses) {
    const double pitches = signal.angle(pulse.time_s) / (2.0 * std::numbers::pi) * signal.teeth;
    squares += std::pow(pitches - std::round(pitches), 2);
  }
  return std::sqrt(squares / static_cast<double>(pulses.size()));
}

double teeth_passed(const RingSignal& signal, double seconds) {
  return (signal.angle(seconds) - signal.start_rad) / (2.0 * std::numbers::pi) * signal.teeth;
}

}  // namespace

TEST_CASE(
    "every tooth gives one pulse at its centre, to a small part of a sample, at any speed and polarity") {
  for (const int teeth : {1, 2, 7, 34, 60})
    for (const double part : {0.05, 0.3, 1.0})
      for (const bool rising : {false, true}) {
        RingSignal signal;
        signal.teeth = teeth;
        signal.duty = teeth < 7 ? 0.2 : 1.0;
        signal.rpm = part * signal.full_rpm;
        signal.rising = rising;
        CAPTURE(teeth);
        CAPTURE(part);
        CAPTURE(rising);
        const auto pulses = tracked(signal, 2.0);
        CHECK(std::abs(static_cast<double>(pulses.size()) - teeth_passed(signal, 2.0)) <= 2.0);
        const double samples_per_pitch = signal.sample_rate_hz * 60.0 / (signal.rpm * teeth);
        CHECK(rms_error(pulses, signal) * samples_per_pitch < 0.02);
      }
}

TEST_CASE("a tooth's size, width and place do not depend on where a dozen samples fall on it") {
  RingSignal signal;
  signal.teeth = 44;
  signal.larger_ratio = 1.0;
  signal.sample_rate_hz = 25600.0;
  signal.rpm = 2813.0;  // 546 samples to the revolution: they fall alike in each
  double smallest = 1e9, largest = 0.0, narrowest = 1e9, widest = 0.0;
  const auto pulses = tracked(signal, 1.0);
  for (std::size_t i = 10; i + 10 < pulses.size(); ++i) {
    const double width = pulses[i].swing() / pulses[i].peak_to_peak;
    smallest = std::min(smallest, pulses[i].swing());
    largest = std::max(largest, pulses[i].swing());
    narrowest = std::min(narrowest, width);
    widest = std::max(widest, width);
  }
  CHECK(largest / smallest < 1.004);
  CHECK(widest / narrowest < 1.006);
  CHECK(rms_error(pulses, signal) < 0.0003);
}

TEST_CASE(
    "a slow offset larger than half the pulses loses no pulse and moves none by a hundredth of a pitch") {
  RingSignal signal;
  signal.rpm = 0.1 * signal.full_rpm;
  signal.wander = 0.06;  // the pulses themselves are 0.1 high at this speed
  signal.wander_hz = 2.0;
  const auto pulses = tracked(signal, 4.0);
  CHECK(std::abs(static_cast<double>(pulses.size()) - teeth_passed(signal, 4.0)) <= 2.0);
  CHECK(rms_error(pulses, signal) < 0.01);
}

TEST_CASE("a run-up from rest is followed from the first turn although the output grows twentyfold") {
  RingSignal signal;
  signal.rpm = 0.05 * signal.full_rpm;
  signal.rpm_per_s = 0.1 * signal.full_rpm;
  const auto pulses = tracked(signal, 9.0);
  CHECK(std::abs(static_cast<double>(pulses.size()) - teeth_passed(signal, 9.0)) <= 2.0);
  CHECK(rms_error(pulses, signal) < 0.002);
}

TEST_CASE("the flux swing of a tooth does not depend on speed, its peaks do") {
  RingSignal slow, fast;
  slow.rpm = 0.1 * slow.full_rpm;
  fast.rpm = 1.0 * fast.full_rpm;
  const auto a = tracked(slow, 2.0), b = tracked(fast, 2.0);
  CHECK(b[100].swing() == doctest::Approx(a[100].swing()).epsilon(0.05));
  CHECK(b[100].peak_to_peak == doctest::Approx(10.0 * a[100].peak_to_peak).epsilon(0.05));
}

TEST_CASE("pulses do not depend on how the samples are cut into blocks") {
  RingSignal signal;
  signal.noise_rms_db = -20;
  const auto whole = tracked(signal, 1.0, 1000000), pieces = tracked(signal, 1.0, 777);
  REQUIRE(whole.size() > 10);
  REQUIRE(whole.size() == pieces.size());
  for (std::size_t i = 0; i < whole.size(); ++i)
    CHECK(whole[i].time_s == doctest::Approx(pieces[i].time_s).epsilon(1e-12));
}

TEST_CASE("a ring of as many teeth as a rotor file may tell is followed tooth by tooth") {
  RingSignal signal;
  signal.teeth = most_teeth;
  signal.full_rpm = 800.0;
  signal.rpm = 600.0;
  signal.sample_rate_hz = 102400.0;
  const auto pulses = tracked(signal, 1.0);
  CHECK(std::abs(static_cast<double>(pulses.size()) - teeth_passed(signal, 1.0)) <= 2.0);
  CHECK(rms_error(pulses, signal) < 0.002);
}

TEST_CASE("the tooth channel's own delay is taken off the pulse times") {
  RingSignal signal;
  const std::vector<float> samples = signal.samples(0.5);
  ToothRing ring{34, CentreSlope::falling, 200, 6000, 0.0};
  auto plain = ToothTracker::create(ring, signal.sample_rate_hz);
  ring.delay_s = 1e-4;
  auto delayed = ToothTracker::create(ring, signal.sample_rate_hz);
  const auto a = plain->push(samples), b = delayed->push(samples);
  CHECK(a.at(50).time_s - b.at(50).time_s == doctest::Approx(1e-4));
}

TEST_CASE("what cannot be tracked is refused with the figure that would do") {
  CHECK_FALSE(ToothTracker::create({0, CentreSlope::falling, 200, 6000, 0.0}, 51200.0));
  CHECK(ToothTracker::create({most_teeth, CentreSlope::falling, 200, 600, 0.0}, 102400.0));
  CHECK_FALSE(ToothTracker::create({most_teeth + 1, CentreSlope::falling, 200, 600, 0.0}, 102400.0));
  CHECK_FALSE(ToothTracker::create({34, CentreSlope::falling, 6000, 200, 0.0}, 51200.0));
  CHECK_FALSE(ToothTracker::create({34, CentreSlope::falling, 200, 6000, 0.0}, 0.0));
  const auto slow = ToothTracker::create({34, CentreSlope::falling, 200, 6000, 0.0}, 8000.0);
  REQUIRE_FALSE(slow);
  CHECK(slow.error().message().find("2.4 samples per tooth") != std::string::npos);
  CHECK(slow.error().message().find("17000 Hz") != std::string::npos);
}

TEST_CASE("a silent channel gives no pulses") {
  auto tracker = ToothTracker::create({34, CentreSlope::falling, 200, 6000, 0.0}, 51200.0);
  const std::vector<float> silence(200000, 0.25F);
  CHECK(tracker->push(silence).empty());
  CHECK(tracker->finish().empty());
}

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include "follow_ring.hpp"
#include "reference/dwell.hpp"
#include "some.hpp"
#include "vibration_signal.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

Followed with_vibration(const RingSignal& ring, const VibrationSignal& vibration, double seconds,
                        const ExtractionRules& rules = {}, const VibrationChannel& channel = {"front"}) {
  return follow(ring.samples(seconds), declared(ring), ring.sample_rate_hz, 4096, rules, {channel},
                {vibration.samples(ring, seconds)});
}

double degrees_between(Phasor a, Phasor b) { return std::abs(degrees(std::arg(a / b))); }

BlockReading block_at(double time_s, Phasor value, double rpm = 3000.0) {
  BlockReading block;
  block.span = {time_s, time_s + 0.1};
  block.speed_rpm = rpm;
  block.channels.resize(1);
  block.channels[0].value = value;
  return block;
}

}  // namespace

TEST_CASE(
    "a steady recording gives one dwell with the true amplitude and phase, within its stated uncertainty") {
  RingSignal ring;
  ring.noise_rms_db = -20;
  ring.sample_rate_hz = 25600;
  VibrationSignal vibration;
  vibration.once = std::polar(0.5, 2.0);
  vibration.higher = {0.3, 0.2};
  vibration.noise = 0.4;
  vibration.offset = 2.0;
  vibration.drift_per_s = 0.1;
  const Followed followed = with_vibration(ring, vibration, 12.0);
  REQUIRE(followed.extraction.dwells.size() == 1);
  const DwellReading& dwell = followed.extraction.dwells.front();
  CHECK(dwell.phase_trusted);
  CHECK(dwell.steady);
  CHECK(dwell.span.end_s - dwell.span.begin_s > 11.5);
  CHECK(dwell.speed_rpm == doctest::Approx(ring.rpm).epsilon(1e-5));
  const ChannelReading& reading = dwell.channels.front();
  CHECK(std::abs(reading.value - vibration.once) < 5.0 * reading.sd);
  // White noise: sd of a component is noise * sqrt(2 / samples).
  CHECK(reading.sd == doctest::Approx(0.4 * std::sqrt(2.0 / (12.0 * 25600))).epsilon(0.35));
  CHECK(reading.left_over == doctest::Approx(0.4).epsilon(0.02));
}

TEST_CASE("two dwells with a run-up between are found, and nothing of the run-up is taken for a dwell") {
  RingSignal ring;
  ring.sample_rate_hz = 12800;
  ring.teeth = 12;
  VibrationSignal vibration;
  // 8 s at 1500 rpm, a run-up to 3000 rpm in 5 s, 8 s there: three recordings joined at matching angles.
  std::vector<float> teeth, shake;
  double begin_rad = 0.1;
  for (const auto& [rpm, change, seconds] :
       {std::tuple{1500.0, 0.0, 8.0}, {1500.0, 300.0, 5.0}, {3000.0, 0.0, 8.0}}) {
    ring.rpm = rpm;
    ring.rpm_per_s = change;
    ring.start_rad = begin_rad;
    const auto t = ring.samples(seconds), v = vibration.samples(ring, seconds);
    teeth.insert(teeth.end(), t.begin(), t.end());
    shake.insert(shake.end(), v.begin(), v.end());
    begin_rad = ring.angle(seconds);
  }
  const Followed followed =
      follow(teeth, declared(ring), ring.sample_rate_hz, 3000, {}, {{"front"}}, {shake});
  const auto& dwells = followed.extraction.dwells;
  REQUIRE(dwells.size() == 2);
  CHECK(dwells[0].speed_rpm == doctest::Approx(1500).epsilon(1e-3));
  CHECK(dwells[1].speed_rpm == doctest::Approx(3000).epsilon(1e-3));
  CHECK(dwells[0].span.end_s < 8.5);
  CHECK(dwells[1].span.begin_s > 12.5);
  for (const DwellReading& dwell : testing::some(dwells))
    CHECK(std::abs(dwell.channels[0].value - vibration.once) < 1e-3);
  CHECK(followed.extraction.sweep.size() > 10);
}

TEST_CASE("a run-up gives amplitude and phase against speed") {
  RingSignal ring;
  ring.rpm = 1000.0;
  ring.rpm_per_s = 200.0;
  ring.sample_rate_hz = 25600;
  VibrationSignal vibration;
  vibration.once = std::polar(0.7, -1.0);
  const Followed followed = with_vibration(ring, vibration, 10.0);
  CHECK(followed.extraction.dwells.empty());
  const auto& sweep = followed.extraction.sweep;
  REQUIRE(sweep.size() > 30);
  for (const SweepPoint& point : testing::some(sweep)) {
    CHECK(point.trend == SpeedTrend::run_up);
    CHECK(std::abs(point.channels[0]) == doctest::Approx(0.7).epsilon(0.002));
    CHECK(degrees_between(point.channels[0], vibration.once) < 0.15);
  }
  CHECK(sweep.front().speed_rpm < 1100);
  CHECK(sweep.back().speed_rpm > 2900);
}

TEST_CASE("a known delay and phase shift of the sensor's chain are taken out") {
  RingSignal ring;
  VibrationSignal vibration;
  vibration.once = std::polar(1.0, 0.4);
  vibration.delay_s = 0.002;  // 30 degrees at 2500 rpm
  VibrationChannel channel{"front"};
  CHECK(degrees_between(with_vibration(ring, vibration, 4.0).extraction.dwells.at(0).channels[0].value,
                        vibration.once) == doctest::Approx(30.0).epsilon(1e-3));
  channel.delay_s = 0.002;
  CHECK(degrees_between(
            with_vibration(ring, vibration, 4.0, {}, channel).extraction.dwells.at(0).channels[0].value,
            vibration.once) < 0.01);
  channel.phase_shift_rad = 0.3;
  CHECK(degrees_between(
            with_vibration(ring, vibration, 4.0, {}, channel).extraction.dwells.at(0).channels[0].value,
            vibration.once * std::polar(1.0, -0.3)) < 0.01);
  channel = {"front", 0.002, 0.0, true};
  CHECK(degrees_between(
            with_vibration(ring, vibration, 4.0, {}, channel).extraction.dwells.at(0).channels[0].value,
            -vibration.once) < 0.01);
}

TEST_CASE("given dwells are used as given, and one without anything to read is still listed") {
  RingSignal ring;
  ExtractionRules rules;
  rules.given_dwells = {{1.0, 4.0}, {50.0, 60.0}};
  const Followed followed = with_vibration(ring, {}, 6.0, rules);
  const auto& dwells = followed.extraction.dwells;
  REQUIRE(dwells.size() == 2);
  CHECK(dwells[0].span.begin_s >= 1.0);
  CHECK(dwells[0].span.end_s <= 4.0);
  CHECK(dwells[0].phase_trusted);
  CHECK(dwells[1].blocks == 0);
  CHECK_FALSE(dwells[1].phase_trusted);
}

TEST_CASE("with the reference in doubt the amplitude stands and the phase is withheld") {
  RingSignal ring;
  ring.larger_ratio = 1.0;
  ring.noise_rms_db = -20;
  VibrationSignal vibration;
  vibration.once = std::polar(0.8, 1.0);
  const Followed followed = with_vibration(ring, vibration, 6.0);
  REQUIRE(followed.extraction.dwells.size() == 1);
  const DwellReading& dwell = followed.extraction.dwells.front();
  CHECK_FALSE(dwell.phase_trusted);
  CHECK(dwell.blocks == 0);
  CHECK(dwell.refusal == ReferenceVerdict::no_larger_tooth);
  CHECK(dwell.channels[0].amplitude == doctest::Approx(0.8).epsilon(0.005));
}

TEST_CASE("a reading that creeps during the dwell is called unsteady, one that only scatters is not") {
  std::mt19937_64 random(5);
  std::normal_distribution<double> normal;
  int false_alarms = 0;
  constexpr int trials = 4000;
  DwellRules rules;
  rules.unsteady_chance = 0.01;
  rules.negligible_change = 0.0;
  for (int trial = 0; trial < trials; ++trial) {
    DwellSums sums;
    for (int i = 0; i < 12; ++i)
      sums.add(block_at(0.1 * i, Phasor(1.0 + 0.1 * normal(random), 0.1 * normal(random))));
    false_alarms += sums.reading(rules).steady ? 0 : 1;
  }
  // The test promises one in a hundred; 4000 trials know that to +-16 % (one standard deviation).
  CHECK(false_alarms > 20);
  CHECK(false_alarms < 60);
  DwellSums creeping;
  for (int i = 0; i < 30; ++i)
    creeping.add(block_at(0.1 * i, Phasor(1.0 + 0.02 * i + 0.02 * normal(random), 0.02 * normal(random))));
  const DwellReading dwell = creeping.reading(rules);
  CHECK_FALSE(dwell.steady);
  CHECK(dwell.channels[0].change.real() == doctest::Approx(0.6).epsilon(0.1));
}

TEST_CASE("the stated standard deviation covers blocks that resemble their neighbours") {
  std::mt19937_64 random(6);
  std::normal_distribution<double> normal;
  double squares = 0.0, said = 0.0;
  constexpr int trials = 1500;
  for (int trial = 0; trial < trials; ++trial) {
    DwellSums sums;
    Phasor wander(normal(random), normal(random));
    for (int i = 0; i < 200; ++i) {
      wander = 0.6 * wander + 0.8 * Phasor(normal(random), normal(random));
      sums.add(block_at(0.1 * i, wander));
    }
    const ChannelReading reading = sums.reading({}).channels[0];
    squares += 0.5 * std::norm(reading.value);
    said += reading.sd * reading.sd;
  }
  CHECK(said / squares > 0.8);  // without the correction it would be 0.25
  CHECK(said / squares < 1.2);
}

TEST_CASE("vibration of another shaft at a multiple that is no whole number does not pass for this one's") {
  RingSignal ring;
  ring.sample_rate_hz = 25600;
  VibrationSignal vibration;
  vibration.once = std::polar(0.5, 0.2);
  vibration.other_order = 2.37;
  vibration.other_amplitude = 0.5;
  const Followed followed = with_vibration(ring, vibration, 20.0);
  const ChannelReading& reading = followed.extraction.dwells.at(0).channels[0];
  CHECK(std::abs(reading.value - vibration.once) < 0.005);
}

static ChannelReading beside(double order, double amplitude) {
  RingSignal ring;
  ring.sample_rate_hz = 25600;
  ring.rpm = 3000.0;
  VibrationSignal vibration;
  vibration.once = std::polar(1.0, 0.2);
  vibration.noise = 0.05;
  vibration.other_order = order;
  vibration.other_amplitude = amplitude;
  return with_vibration(ring, vibration, 8.0).extraction.dwells.at(0).channels[0];
}

TEST_CASE("a vibration far from shaft speed is not told as a neighbour and does not move the reading") {
  for (const double order : {0.43, 0.5, 0.875, 1.25, 2.6, 12.3}) {
    CAPTURE(order);
    const ChannelReading reading = beside(order, 0.2);
    CHECK_FALSE(reading.other_hz.has_value());
    CHECK_FALSE(reading.resonance);
    CHECK(std::abs(reading.value - std::polar(1.0, 0.2)) < 5.0 * reading.sd);
    CHECK(reading.sd < 0.001);
  }
}

TEST_CASE("a vibration near shaft speed is told at its speed, faster or slower, and with its size") {
  for (const double order : {0.9, 0.96, 1.03, 1.055, 1.07, 1.1}) {
    CAPTURE(order);
    const ChannelReading reading = beside(order, 0.3);
    REQUIRE(reading.other_hz.has_value());
    CHECK(*reading.other_hz == doctest::Approx(50.0 * (order - 1.0)).epsilon(0.02));
    CHECK(reading.other_amplitude == doctest::Approx(0.3).epsilon(0.1));
    CHECK(std::abs(reading.value - std::polar(1.0, 0.2)) < 5.0 * reading.sd);
  }
}

TEST_CASE("the parts of a block must fit together") {
  auto extractor = ReadingExtractor::create(declared(RingSignal{}), 51200.0, {{"front"}}, {});
  REQUIRE(extractor);
  const std::vector<float> ten(10), nine(9);
  const std::vector<std::span<const float>> none, shorter{nine};
  CHECK_FALSE(extractor->push(ten, none));
  CHECK_FALSE(extractor->push(ten, shorter));
  std::vector<float> bad(10);
  bad[3] = std::numeric_limits<float>::infinity();
  const std::vector<std::span<const float>> infinite{bad};
  const auto pushed = extractor->push(ten, infinite);
  REQUIRE_FALSE(pushed);
  CHECK(pushed.error().message().find("front") != std::string::npos);
  ExtractionRules rules;
  rules.harmonics = 0;
  CHECK_FALSE(ReadingExtractor::create(declared(RingSignal{}), 51200.0, {}, rules));
  rules = {};
  rules.block.revolutions = 2;
  CHECK_FALSE(ReadingExtractor::create(declared(RingSignal{}), 51200.0, {}, rules));
}

TEST_CASE("how the recording is cut into blocks does not change the readings") {
  RingSignal ring;
  ring.noise_rms_db = -20;
  VibrationSignal vibration;
  vibration.noise = 0.2;
  const auto teeth = ring.samples(5.0);
  const auto shake = vibration.samples(ring, 5.0);
  const auto read = [&](std::size_t piece) {
    return follow(teeth, declared(ring), ring.sample_rate_hz, piece, {}, {{"front"}}, {shake})
        .extraction.dwells.at(0)
        .channels[0]
        .value;
  };
  CHECK(std::abs(read(1000) - read(100000)) < 1e-9);
}

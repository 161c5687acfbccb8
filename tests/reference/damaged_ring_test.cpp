#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "flux_ring.hpp"
#include "trimwright/reference.hpp"

using namespace trimwright;
using simulated::FluxRing;

namespace {

/// Thirty-four teeth with the small differences in size and place that a made ring has.
FluxRing made_ring() {
  FluxRing ring(34);
  std::mt19937_64 random(8);
  std::normal_distribution<double> normal;
  for (std::size_t k = 0; k < 34; ++k) {
    ring.height[k] = 1.0 + 0.01 * normal(random);
    ring.place_rad[k] = 0.0006 * normal(random);
  }
  ring.height[0] = 1.3;
  ring.noise = 0.005;
  ring.start_rad = 1.0;
  ring.rate_hz = 16000.0;
  ring.rpm = 2000.0;
  return ring;
}

constexpr Phasor truth(0.6, 0.8);

Extraction read(const FluxRing& ring, double seconds, const RingKnowledge& known = {}) {
  const ToothRing declared{ring.teeth, CentreSlope::falling, 300.0, 5500.0, 0.0};
  ExtractionRules rules;
  rules.known = known;
  auto extractor = ReadingExtractor::create(declared, ring.rate_hz, {{"front"}}, rules);
  REQUIRE(extractor);
  const auto teeth = ring.samples(seconds), shake = ring.vibration(seconds, truth, 0.02);
  const std::vector<std::span<const float>> vibration{shake};
  REQUIRE(extractor->push(teeth, vibration));
  return extractor->finish();
}

RingKnowledge known_from(const FluxRing& ring) {
  const Extraction earlier = read(ring, 4.0);
  REQUIRE(earlier.health.reference.verdict == ReferenceVerdict::trusted);
  RingKnowledge known;
  known.ring = earlier.health.ring;
  return known;
}

/// Of the first dwell with phase [deg]; nothing where there is none.
std::optional<double> phase_error_deg(const Extraction& extraction) {
  for (const DwellReading& dwell : extraction.dwells)
    if (dwell.phase_trusted)
      return std::abs(std::arg(dwell.channels[0].value / truth)) * 180.0 / std::numbers::pi;
  return std::nullopt;
}

}  // namespace

TEST_CASE(
    "with the larger tooth worn and another larger, a known ring gives the right phase and tells the wear") {
  for (const double worn : {0.0, 0.9, 1.0, 1.05}) {
    CAPTURE(worn);
    const RingKnowledge known = known_from(made_ring());
    FluxRing ring = made_ring();
    ring.seed = 5;
    ring.height[0] = worn;
    ring.height[11] = 1.3;
    const Extraction now = read(ring, 4.0, known);
    REQUIRE(phase_error_deg(now).has_value());
    CHECK(*phase_error_deg(now) < 0.2);
    CHECK(now.health.reference.basis == ReferenceBasis::known_ring);
    if (worn > 0.0) CHECK(now.health.has(FindingKind::larger_tooth_worn));
    if (worn == 0.0) CHECK(now.health.has(FindingKind::tooth_broken_off));
  }
}

TEST_CASE(
    "with nothing to compare with, a worn reference beside a larger tooth is refused or taken at its word, "
    "and said") {
  for (const double worn : {0.0, 0.9, 1.0, 1.05})
    for (const double other : {1.1, 1.4}) {
      CAPTURE(worn);
      CAPTURE(other);
      FluxRing ring = made_ring();
      ring.height[0] = worn;
      ring.height[11] = other;
      const Extraction now = read(ring, 4.0);
      if (phase_error_deg(now)) CHECK(now.health.has(FindingKind::taken_at_its_word));
      if (worn == 0.0) CHECK(now.health.reference.verdict == ReferenceVerdict::tooth_broken_off);
    }
}

TEST_CASE("a larger tooth broken off beside a larger one is called broken off") {
  for (const double other : {1.1, 1.4}) {
    FluxRing ring = made_ring();
    ring.height[0] = 0.0;
    ring.height[11] = other;
    CHECK(read(ring, 4.0).health.reference.verdict == ReferenceVerdict::tooth_broken_off);
  }
}

TEST_CASE(
    "a second tooth with two fifths of the excess is a rival; a tooth larger by 2.5 % is no larger tooth") {
  FluxRing ring = made_ring();
  ring.height[11] = 1.12;
  CHECK(read(ring, 4.0).health.reference.verdict == ReferenceVerdict::larger_not_alone);
  std::fill(ring.height.begin(), ring.height.end(), 1.0);
  ring.noise = 0.001;
  ring.height[0] = 1.025;
  CHECK(read(ring, 4.0).health.reference.verdict == ReferenceVerdict::no_larger_tooth);
  ring.height[0] = 1.06;
  CHECK(read(ring, 4.0).health.reference.verdict == ReferenceVerdict::trusted);
}

TEST_CASE("a stated size that the largest tooth has not is refused; the tooth that has it is taken") {
  RingKnowledge stated;
  stated.ratio = 1.3;
  CHECK(phase_error_deg(read(made_ring(), 4.0, stated)).has_value());
  FluxRing ring = made_ring();
  ring.height[0] = 0.95;
  ring.height[11] = 1.15;
  const Extraction now = read(ring, 4.0, stated);
  CHECK(now.health.reference.verdict == ReferenceVerdict::not_as_stated);
  CHECK_FALSE(phase_error_deg(now).has_value());
}

TEST_CASE(
    "a stated width tells the larger tooth only where it is wider than what one of usual width may seem") {
  RingKnowledge stated;
  FluxRing ring = made_ring();
  for (const double wider : {0.9, 1.0, 1.12}) {
    CAPTURE(wider);
    ring.width[0] = wider;
    const ReferenceJudgement seen = read(ring, 4.0).health.reference;
    stated.ratio = seen.over_others;
    stated.width = wider == 1.0 ? 1.035 : seen.wider;
    const Extraction now = read(ring, 4.0, stated);
    if (wider > 1.0)
      CHECK(now.health.reference.basis == ReferenceBasis::stated_size_and_width);
    else
      CHECK(now.health.reference.basis != ReferenceBasis::stated_size_and_width);
  }
}

TEST_CASE("another ring than the known one is told from it and gives no phase") {
  const RingKnowledge known = known_from(made_ring());
  FluxRing other = made_ring();
  std::mt19937_64 random(99);
  std::normal_distribution<double> normal;
  for (std::size_t k = 1; k < 34; ++k) {
    other.height[k] = 1.0 + 0.015 * normal(random);
    other.place_rad[k] = 0.001 * normal(random);
  }
  const Extraction now = read(other, 4.0, known);
  CHECK(now.health.reference.verdict == ReferenceVerdict::another_ring);
  CHECK_FALSE(phase_error_deg(now).has_value());
}

TEST_CASE("a larger tooth that is the largest but not the widest is not taken") {
  FluxRing ring = made_ring();
  ring.height[0] = 1.05;
  ring.width[0] = 1.2;
  ring.height[11] = 1.35;
  const Extraction now = read(ring, 4.0);
  CHECK(now.health.reference.verdict != ReferenceVerdict::trusted);
}

TEST_CASE("run-out of half the signal does not hide the larger tooth") {
  FluxRing ring = made_ring();
  ring.run_out = 0.5;
  ring.run_out_at_rad = 2.0;
  const Extraction now = read(ring, 4.0);
  REQUIRE(phase_error_deg(now).has_value());
  CHECK(*phase_error_deg(now) < 0.2);
}

TEST_CASE("a tooth bent by a quarter of a pitch is named and the phase stands") {
  FluxRing ring = made_ring();
  ring.half_width = 0.15;
  ring.place_rad[9] += 0.28 * 2.0 * std::numbers::pi / 34.0;
  const Extraction now = read(ring, 4.0);
  REQUIRE(phase_error_deg(now).has_value());
  CHECK(*phase_error_deg(now) < 0.3);
  CHECK(std::ranges::any_of(now.health.findings, [](const Finding& finding) {
    return finding.kind == FindingKind::tooth_out_of_place && finding.tooth == 9;
  }));
}

TEST_CASE(
    "after the signal was lost the teeth are read again within 20 revolutions, and the loss is told by "
    "time") {
  for (const double noise : {0.003, 0.01, 0.03})
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
      CAPTURE(noise);
      CAPTURE(seed);
      FluxRing ring = made_ring();
      ring.spans.push_back({3.0, 8.0, 0.0});
      ring.noise = noise;
      ring.seed = seed;
      const Extraction now = read(ring, 12.0);
      REQUIRE(now.dwells.size() == 2);
      CHECK(now.dwells[1].phase_trusted);
      CHECK(now.dwells[1].span.begin_s < 8.0 + 20.0 * 60.0 / ring.rpm);
      CHECK(std::abs(std::arg(now.dwells[1].channels[0].value / truth)) < 0.005);
      REQUIRE(now.health.without.size() == 1);
      CHECK(now.health.without[0].begin_s == doctest::Approx(3.0).epsilon(0.05));
      CHECK(now.health.without[0].end_s == doctest::Approx(8.0).epsilon(0.05));
      CHECK(now.health.has(FindingKind::signal_lost));
      CHECK_FALSE(now.health.has(FindingKind::wrong_tooth_count));
    }
}

TEST_CASE("pulses half a sample wider than a whole number of samples are no trouble") {
  for (const double rpm : {4681.0, 4312.0, 3641.0}) {
    CAPTURE(rpm);
    FluxRing ring(34);
    ring.bump = FluxRing::Bump::cosine;
    ring.height[0] = 1.12;
    ring.noise = 0.007;
    ring.rate_hz = 25600.0;
    ring.rpm = rpm;
    const Extraction now = read(ring, 3.0);
    CHECK(now.health.trusted_part > 0.95);
    REQUIRE(phase_error_deg(now).has_value());
    CHECK(*phase_error_deg(now) < 0.2);
  }
}

TEST_CASE(
    "hum that beats slowly with the teeth leaves a clean ring trusted, its count and its larger tooth") {
  FluxRing ring(88);
  ring.height[0] = 1.4;
  ring.rpm = 632.2;
  ring.rate_hz = 44100.0;
  ring.noise = 0.0005;
  ring.hum_hz = 400.0;  // order 37.96
  for (const double hum : {0.02, 0.05}) {
    CAPTURE(hum);
    ring.hum = hum * ring.rpm / ring.full_rpm;
    const Extraction now = read(ring, 7.0);
    CHECK(now.health.trusted_part == 1.0);
    CHECK(phase_error_deg(now).has_value());
    CHECK_FALSE(now.health.has(FindingKind::larger_tooth_moved));
    CHECK_FALSE(now.health.has(FindingKind::wrong_tooth_count));
  }
}

TEST_CASE("what the larger tooth takes from both its neighbours is no damage of theirs; what one lacks is") {
  FluxRing ring = made_ring();
  ring.height[1] = ring.height[33] = 0.88;
  const RingKnowledge known = known_from(ring);
  CHECK_FALSE(read(ring, 4.0).health.has(FindingKind::tooth_of_odd_size));
  ring.height[33] = 1.0;
  CHECK(read(ring, 4.0).health.has(FindingKind::tooth_of_odd_size));
  CHECK(read(ring, 4.0, known).health.has(FindingKind::tooth_of_odd_size));
}

TEST_CASE("a larger tooth whose excess a narrower gap may have lessened is noted, no caution") {
  const RingKnowledge known = known_from(made_ring());
  for (const double size : {1.2, 1.08}) {
    FluxRing ring = made_ring();
    ring.height[0] = size;
    const Extraction now = read(ring, 4.0, known);
    REQUIRE(now.health.has(FindingKind::larger_tooth_worn));
    for (const Finding& finding : now.health.findings)
      if (finding.kind == FindingKind::larger_tooth_worn)
        CHECK((finding.gravity == Gravity::caution) == (size < 1.1));
  }
}

TEST_CASE("noise in a stretch without signal is not told as lost counts and extra pulses beside the loss") {
  FluxRing ring = made_ring();
  ring.spans = {{1.5, 4.0, 0.0}};
  ring.noise = 0.02;
  const Extraction now = read(ring, 6.0);
  REQUIRE(now.health.without.size() == 1);
  CHECK(now.health.tally.lost > 0);
  CHECK_FALSE(now.health.has(FindingKind::count_lost));
  CHECK_FALSE(now.health.has(FindingKind::extra_pulses));
}

/// Root mean square of error over stated deviation beside another rotor's vibration.
static double score_beside_another_rotor() {
  // 1.03 times shaft speed, as large as the vibration itself, 3 s: the plain mean would be off by up to 7 %.
  double squares = 0.0;
  constexpr int trials = 12;
  for (int trial = 0; trial < trials; ++trial) {
    FluxRing ring = made_ring();
    ring.rpm = 3000.0;
    ring.noise = 0.001;
    ring.seed = static_cast<std::uint64_t>(trial + 1);
    const ToothRing declared{34, CentreSlope::falling, 300.0, 5500.0, 0.0};
    auto extractor = ReadingExtractor::create(declared, ring.rate_hz, {{"front"}}, {});
    const auto teeth = ring.samples(3.0), shake = ring.vibration(3.0, truth, 0.2, 1.03, 1.0);
    REQUIRE(extractor->push(teeth, std::vector<std::span<const float>>{shake}));
    const Extraction now = extractor->finish();
    REQUIRE(now.dwells.size() == 1);
    const ChannelReading& reading = now.dwells[0].channels[0];
    REQUIRE(reading.other_hz.has_value());
    CHECK(*reading.other_hz == doctest::Approx(1.5).epsilon(0.03));
    squares += std::norm((reading.value - truth) / reading.sd) / (2.0 * trials);
  }
  return std::sqrt(squares);  // 24 components: known to 14 %
}

TEST_CASE(
    "beside another rotor's vibration near shaft speed the stated deviation is neither too small nor too "
    "wide") {
  const double score = score_beside_another_rotor();
  CHECK(score < 1.4);
  CHECK(score > 0.6);
}

#include "reference/place_sizes.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <random>
#include <vector>

#include "follow_ring.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

std::vector<double> sizes_of_ring(int teeth, int place, double ratio, int count, double noise) {
  std::mt19937_64 random(3);
  std::normal_distribution<double> normal;
  std::vector<double> sizes;
  for (int i = 0; i < count; ++i)
    sizes.push_back((i % teeth == place ? ratio : 1.0) + noise * normal(random));
  return sizes;
}

}  // namespace

TEST_CASE("the larger tooth is found whatever the level does: speed and gap divide out") {
  std::vector<double> sizes = sizes_of_ring(34, 11, 1.2, 272, 0.02);
  for (std::size_t i = 0; i < sizes.size(); ++i) sizes[i] *= 1.0 + 0.01 * static_cast<double>(i);
  const PlaceSizes places = place_sizes(folded(sizes, 34));
  CHECK(places.clear_place() == 11);
  CHECK(34.0 * places.mean[11] / places.mean.sum() == doctest::Approx(34.0 * 1.2 / 34.2).epsilon(0.01));
}

TEST_CASE("a single huge pulse does not make its place the larger tooth") {
  std::vector<double> sizes = sizes_of_ring(34, 11, 1.15, 272, 0.02);
  sizes[65] = 4.0;
  CHECK(place_sizes(folded(sizes, 34)).clear_place() == 11);
}

TEST_CASE("a ring without a larger tooth has none, nor has one with two alike") {
  CHECK_FALSE(place_sizes(folded(sizes_of_ring(34, 0, 1.0, 272, 0.05), 34)).clear_place().has_value());
  std::vector<double> two = sizes_of_ring(34, 3, 1.3, 272, 0.001);
  for (std::size_t i = 20; i < two.size(); i += 34) two[i] += 0.29;
  CHECK_FALSE(place_sizes(folded(two, 34)).clear_place().has_value());
}

TEST_CASE("the count the signal shows is found, neither a part nor a multiple of it") {
  for (const int teeth : {2, 3, 12, 33, 34, 35, 44, 60, 128}) {
    CAPTURE(teeth);
    CHECK(period_shown(sizes_of_ring(teeth, 1, 1.3, 1500, 0.03), 256) == teeth);
  }
  CHECK_FALSE(period_shown(sizes_of_ring(34, 0, 1.0, 1500, 0.03), 256).has_value());
}

TEST_CASE("missing pulses are no small pulses") {
  std::vector<double> sizes = sizes_of_ring(34, 11, 1.2, 272, 0.02);
  for (std::size_t i = 5; i < sizes.size(); i += 19) sizes[i] = std::numeric_limits<double>::quiet_NaN();
  CHECK(place_sizes(folded(sizes, 34)).clear_place() == 11);
}

TEST_CASE(
    "zero is where the larger tooth passes, at every speed, with missing and extra pulses, in either "
    "polarity") {
  for (const double part : {0.05, 0.2, 1.1})
    for (const bool rising : {false, true}) {
      RingSignal signal;
      signal.rpm = part * signal.full_rpm;
      signal.larger_ratio = 1.15;
      signal.noise_rms_db = -20;
      signal.drop_probability = signal.extra_probability = 0.01;
      signal.rising = rising;
      CAPTURE(part);
      const Followed followed = follow(signal, part < 0.1 ? 6.0 : 2.0);
      CHECK(followed.trusted() >= 2);
      CHECK(followed.trusted() == static_cast<int>(followed.blocks.size()));
      CHECK(worst_angle_deg(followed, signal) < 0.2);
    }
}

TEST_CASE("reversed polarity is found out and phase withheld") {
  RingSignal signal;
  signal.noise_rms_db = -20;
  const std::vector<float> samples = signal.samples(3.0);
  ToothRing ring = declared(signal);
  ring.polarity = CentreSlope::rising;
  const Followed followed = follow(samples, ring, signal.sample_rate_hz);
  CHECK(followed.trusted() == 0);
  CHECK(followed.extraction.health.has(FindingKind::polarity_reversed));
}

TEST_CASE("with a single narrow tooth reversed polarity is found out by the slow crossing") {
  RingSignal signal;
  signal.teeth = 1;
  signal.duty = 0.1;
  ToothRing ring = declared(signal);
  const std::vector<float> samples = signal.samples(5.0);
  CHECK(follow(samples, ring, signal.sample_rate_hz).trusted() > 20);
  ring.polarity = CentreSlope::rising;
  const Followed reversed = follow(samples, ring, signal.sample_rate_hz);
  CHECK(reversed.trusted() == 0);
  CHECK(reversed.extraction.health.has(FindingKind::polarity_reversed));
}

TEST_CASE("a wrong number of teeth withholds phase and the report says which number the signal shows") {
  for (const int said : {17, 33, 35, 68}) {
    RingSignal signal;
    signal.noise_rms_db = -20;
    ToothRing ring = declared(signal);
    ring.teeth = said;
    CAPTURE(said);
    const Followed followed = follow(signal.samples(4.0), ring, signal.sample_rate_hz);
    CHECK(followed.trusted() == 0);
    REQUIRE(followed.extraction.health.count_shown.has_value());
    CHECK(*followed.extraction.health.count_shown == 34);
    CHECK(followed.extraction.health.has(FindingKind::wrong_tooth_count));
  }
}

TEST_CASE("a small seeded campaign: the reference is never wrong and nearly never refused") {
  std::mt19937_64 random(20240917);
  std::uniform_real_distribution<double> uniform;
  int right = 0, wrong = 0, refused = 0;
  for (int segment = 0; segment < 120; ++segment) {
    RingSignal signal;
    signal.seed = random();
    signal.larger_ratio = 1.15 + 0.45 * uniform(random);
    signal.rpm = (0.05 + 1.05 * uniform(random)) * signal.full_rpm;
    signal.rpm_per_s = (0.2 * uniform(random) - 0.1) * signal.full_rpm;
    if (signal.rpm < 0.2 * signal.full_rpm) signal.rpm_per_s = std::abs(signal.rpm_per_s);
    if (signal.rpm > signal.full_rpm) signal.rpm_per_s = -std::abs(signal.rpm_per_s);
    signal.noise_rms_db = -20;
    signal.drop_probability = 0.01;
    signal.start_rad = 6.28 * uniform(random);
    const Followed followed = follow(signal, 18.0 * 60.0 / signal.rpm);
    const bool is_wrong = worst_angle_deg(followed, signal) > 3.0;
    wrong += is_wrong ? 1 : 0;
    refused += followed.trusted() == 0 ? 1 : 0;
    right += !is_wrong && followed.trusted() > 0 ? 1 : 0;
  }
  CHECK(wrong == 0);
  CHECK(refused <= 1);
  CHECK(right >= 119);
}

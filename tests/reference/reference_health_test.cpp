#include "reference/reference_health.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "follow_ring.hpp"
#include "reference/element_agreement.hpp"
#include "some.hpp"

using namespace trimwright;
using namespace trimwright::simulated;

namespace {

const Finding* find(const ReferenceHealth& health, FindingKind kind) {
  for (const Finding& finding : health.findings)
    if (finding.kind == kind) return &finding;
  return nullptr;
}

RingSignal noisy_ring() {
  RingSignal signal;
  signal.noise_rms_db = -26;
  return signal;
}

}  // namespace

TEST_CASE("a sound ring gives no findings") {
  const ReferenceHealth health = follow(noisy_ring(), 6.0).extraction.health;
  for (const Finding& finding : health.findings) MESSAGE(finding.what);
  REQUIRE(health.findings.size() == 1);  // nothing but that there is nothing to compare it with
  CHECK(health.findings.front().kind == FindingKind::taken_at_its_word);
  CHECK(health.trusted_part == 1.0);
  CHECK(health.reference.over_others == doctest::Approx(1.3).epsilon(0.02));
}

TEST_CASE("a ring of as many teeth as there may be is trusted like any other") {
  RingSignal signal = noisy_ring();
  signal.teeth = most_teeth;
  signal.full_rpm = 800.0;
  signal.rpm = 600.0;
  signal.sample_rate_hz = 102400.0;
  const ReferenceHealth health = follow(signal, 6.0).extraction.health;
  CHECK(health.trusted_part == 1.0);
  CHECK(health.reference.over_others == doctest::Approx(1.3).epsilon(0.02));
}

TEST_CASE("missing and extra pulses are counted and every finding says what to look at") {
  RingSignal signal = noisy_ring();
  signal.drop_probability = 0.01;
  signal.extra_probability = 0.005;
  const ReferenceHealth health = follow(signal, 6.0).extraction.health;
  const double teeth = signal.rpm / 60.0 * 34 * 6.0;
  REQUIRE(find(health, FindingKind::dropped_pulses) != nullptr);
  CHECK(find(health, FindingKind::dropped_pulses)->value == doctest::Approx(0.01 * teeth).epsilon(0.35));
  REQUIRE(find(health, FindingKind::extra_pulses) != nullptr);
  CHECK(find(health, FindingKind::extra_pulses)->value == doctest::Approx(0.005 * teeth).epsilon(0.5));
  for (const Finding& finding : testing::some(health.findings)) {
    CHECK_FALSE(finding.likely_cause.empty());
    CHECK(finding.look_at.find("maker's current manual") != std::string::npos);
  }
}

TEST_CASE("one tooth out of place is named, with its error") {
  RingSignal signal = noisy_ring();
  signal.duty = 0.85;
  signal.spacing_error_rad.assign(34, 0.0);
  signal.spacing_error_rad[17] = radians(0.5);
  const ReferenceHealth health = follow(signal, 6.0).extraction.health;
  const Finding* finding = find(health, FindingKind::tooth_out_of_place);
  REQUIRE(finding != nullptr);
  CHECK(finding->tooth == 17);
  CHECK(finding->value == doctest::Approx(0.5).epsilon(0.05));
  CHECK(std::count_if(health.findings.begin(), health.findings.end(),
                      [](const Finding& f) { return f.kind == FindingKind::tooth_out_of_place; }) == 1);
}

TEST_CASE("a chipped tooth is named") {
  RingSignal signal = noisy_ring();
  signal.height.assign(34, 1.0);
  signal.height[5] = 0.7;
  const ReferenceHealth health = follow(signal, 6.0).extraction.health;
  const Finding* finding = find(health, FindingKind::tooth_of_odd_size);
  REQUIRE(finding != nullptr);
  CHECK(finding->tooth == 5);
  CHECK(finding->value == doctest::Approx(-0.3).epsilon(0.1));
}

TEST_CASE("a weak larger tooth is remarked upon while it is still trusted") {
  RingSignal signal = noisy_ring();
  signal.larger_ratio = 1.08;
  const ReferenceHealth health = follow(signal, 6.0).extraction.health;
  CHECK(health.trusted_blocks > 0);
  CHECK(health.has(FindingKind::larger_tooth_weak));
}

TEST_CASE("no pulses, a speed out of range and noise in place of teeth are told apart") {
  RingSignal signal = noisy_ring();
  const ToothRing ring = declared(signal);
  const std::vector<float> silence(300000, 0.5F);
  const Followed silent = follow(silence, ring, 51200.0);
  CHECK(silent.extraction.health.has(FindingKind::no_pulses));
  CHECK(silent.extraction.tooth_channel.silent);

  signal.rpm = 1.4 * signal.full_rpm;
  const Followed fast = follow(signal, 3.0);
  CHECK(fast.trusted() == 0);
  CHECK(fast.extraction.health.has(FindingKind::speed_out_of_range));

  std::mt19937_64 random(1);
  std::normal_distribution<float> normal;
  std::vector<float> noise(500000);
  for (float& x : noise) x = normal(random);
  const Followed only_noise = follow(noise, ring, 51200.0);
  CHECK(only_noise.trusted() == 0);
  CHECK(only_noise.extraction.dwells.empty());
}

TEST_CASE("with one tooth per revolution noise is not taken for a shaft") {
  RingSignal signal;
  signal.teeth = 1;
  std::mt19937_64 random(1);
  std::normal_distribution<float> normal;
  std::vector<float> noise(1000000);
  for (float& x : noise) x = normal(random);
  CHECK(follow(noise, declared(signal), 51200.0).trusted() == 0);
}

TEST_CASE("a rotor that stops in between is read before and after, and the stop is reported") {
  RingSignal signal = noisy_ring();
  const auto first = signal.samples(4.0);
  signal.rpm = 1800.0;
  const auto second = signal.samples(4.0);
  std::vector<float> all = first;
  std::mt19937_64 random(2);
  std::normal_distribution<float> normal;
  for (int i = 0; i < 10 * 51200; ++i) all.push_back(0.002F * normal(random));
  all.insert(all.end(), second.begin(), second.end());
  const Followed followed = follow(all, declared(signal), signal.sample_rate_hz);
  CHECK(followed.extraction.health.has(FindingKind::stopped_in_between));
  REQUIRE(followed.extraction.health.without.size() == 1);
  CHECK(followed.extraction.health.without[0].begin_s == doctest::Approx(4.0).epsilon(0.02));
  CHECK(followed.extraction.health.without[0].end_s == doctest::Approx(14.0).epsilon(0.02));
  REQUIRE(followed.extraction.dwells.size() == 2);
  CHECK(followed.extraction.dwells[0].speed_rpm == doctest::Approx(2500).epsilon(1e-3));
  CHECK(followed.extraction.dwells[1].speed_rpm == doctest::Approx(1800).epsilon(1e-3));
}

TEST_CASE("a gap that grows during the recording shows in the flux swing, a change of speed does not") {
  RingSignal signal = noisy_ring();
  std::vector<float> samples = signal.samples(8.0);
  for (std::size_t i = 0; i < samples.size(); ++i)
    samples[i] *= 1.0F - 0.4F * static_cast<float>(i) / static_cast<float>(samples.size());
  const Followed gap = follow(samples, declared(signal), signal.sample_rate_hz);
  CHECK(gap.extraction.health.has(FindingKind::swing_changes_with_time));
  signal.rpm = 0.2 * signal.full_rpm;
  signal.rpm_per_s = 0.1 * signal.full_rpm;
  const Followed faster = follow(signal, 8.0);
  CHECK_FALSE(faster.extraction.health.has(FindingKind::swing_changes_with_time));
  CHECK_FALSE(faster.extraction.health.has(FindingKind::swing_changes_with_speed));
}

TEST_CASE("two elements on the same tooth agree; one a tooth apart or half as strong does not") {
  RingSignal signal = noisy_ring();
  const auto watched = [&](const RingSignal& seen, float gain, const char* name, double fails_at_s = 4.0) {
    std::vector<float> samples = seen.samples(4.0);
    const auto fails_at = static_cast<std::size_t>(fails_at_s * seen.sample_rate_hz);
    for (std::size_t i = 0; i < samples.size(); ++i) samples[i] *= i < fails_at ? gain : 0.0F;
    ElementWatch element(name);
    const Followed followed = follow(samples, declared(seen), seen.sample_rate_hz);
    for (const auto& block : followed.blocks) element.see(block);
    element.settle(followed.extraction.turns, followed.extraction.health.reference.basis);
    return element;
  };
  RingSignal same = signal;
  same.seed = 9;
  RingSignal apart = same;
  apart.start_rad -= radians(360.0 / 34.0);
  std::vector<ElementWatch> sound{watched(signal, 1.0F, "a"), watched(same, 0.9F, "b")};
  CHECK(disagreements(sound, 34).empty());
  REQUIRE(compared(sound).size() == 1);
  CHECK(std::abs(degrees(compared(sound)[0].ahead_rad)) < 0.05);
  std::vector<ElementWatch> shifted{watched(signal, 1.0F, "a"), watched(apart, 1.0F, "b")};
  REQUIRE(disagreements(shifted, 34).size() == 1);
  CHECK(disagreements(shifted, 34)[0].value == doctest::Approx(-360.0 / 34.0).epsilon(0.01));
  CHECK_FALSE(chosen_element(shifted, 34).phase);
  std::vector<ElementWatch> majority{watched(apart, 1.0F, "a"), watched(signal, 1.0F, "b"),
                                     watched(same, 1.0F, "c")};
  CHECK(chosen_element(majority, 34).phase);
  CHECK(chosen_element(majority, 34).used == 1);
  std::vector<ElementWatch> dead{ElementWatch("a"), watched(signal, 1.0F, "b")};
  CHECK(chosen_element(dead, 34).used == 1);
  std::vector<ElementWatch> failing{watched(signal, 1.0F, "a", 1.0), watched(same, 1.0F, "b")};
  CHECK(chosen_element(failing, 34).used == 1);  // though all that the first ever gave can be trusted
  REQUIRE_FALSE(disagreements(failing, 34).empty());
  CHECK(disagreements(failing, 34)[0].value > 0.5);
  std::vector<ElementWatch> weak{watched(signal, 1.0F, "a"), watched(same, 0.4F, "b")};
  CHECK(disagreements(weak, 34).size() == 1);
}

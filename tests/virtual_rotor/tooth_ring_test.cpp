#include "virtual_rotor/tooth_ring.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

constexpr double full_speed_rpm = 5120.0;
constexpr double full_speed = full_speed_rpm * std::numbers::pi / 30.0;

ToothSignal signal_of(const ToothRing& ring, const SensingElement& element) {
  auto signal = ToothSignal::of(ring, element, full_speed_rpm, 42, 0);
  REQUIRE(signal);
  return *std::move(signal);
}

/// The highest voltage within half a pitch of pulse `k`.
double height(const ToothSignal& signal, const ToothRing& ring, std::int64_t k, double speed = full_speed) {
  const double pitch = 2.0 * std::numbers::pi / ring.teeth;
  double highest = 0.0;
  for (int i = -3000; i <= 3000; ++i) {
    highest = std::max(highest, signal.volts({signal.pulse_angle(k) + i / 6000.0 * pitch, speed}));
  }
  return highest;
}

ToothRing worn_ring() {
  ToothRing ring;
  ring.teeth = 34;
  ring.larger_tooth = 1.4;
  ring.spacing_error_deg.assign(34, 0.0);
  ring.spacing_error_deg[7] = 0.4;
  ring.spacing_error_deg[8] = -0.3;
  ring.height.assign(34, 1.0);
  ring.height[12] = 0.5;
  ring.runout_mm = 0.1;
  return ring;
}

std::string complaint(const ToothRing& ring, const SensingElement& element) {
  const auto signal = ToothSignal::of(ring, element, full_speed_rpm, 1, 0);
  return signal ? "" : signal.error().where.key;
}

}  // namespace

TEST_CASE(
    "the voltage crosses zero exactly as a tooth's centre passes, whatever its neighbours, in the declared "
    "sense") {
  const ToothRing ring = worn_ring();
  for (const ZeroCrossing polarity : {ZeroCrossing::falling, ZeroCrossing::rising}) {
    SensingElement element;
    element.polarity = polarity;
    element.debris.altered = 0.2;
    element.debris.extra = 0.2;
    const ToothSignal signal = signal_of(ring, element);
    const double before_is = polarity == ZeroCrossing::falling ? 1.0 : -1.0;
    for (std::int64_t k = -3; k < 107; ++k) {
      const double centre = signal.pulse_angle(k), little = 1e-4;
      CHECK(std::abs(signal.volts({centre, full_speed})) < 1e-9);
      CHECK(before_is * signal.volts({centre - little, full_speed}) > 0.0);
      CHECK(before_is * signal.volts({centre + little, full_speed}) < 0.0);
    }
  }
}

TEST_CASE("the reference tooth passes at shaft angle zero and every whole turn; the coil's place delays it") {
  const ToothRing ring = worn_ring();
  SensingElement element;
  CHECK(signal_of(ring, element).pulse_angle(0) == 0.0);
  CHECK(signal_of(ring, element).pulse_angle(68) == doctest::Approx(4.0 * std::numbers::pi));
  element.position_deg = 3.0;
  CHECK(signal_of(ring, element).pulse_angle(0) == doctest::Approx(3.0 * std::numbers::pi / 180.0));
  CHECK(signal_of(ring, element).pulse_angle(7) ==
        doctest::Approx((7 * 360.0 / 34.0 + 0.4 + 3.0) * std::numbers::pi / 180.0));
}

TEST_CASE(
    "an ordinary tooth gives the stated voltage at full speed, the larger tooth more, in proportion to "
    "speed") {
  ToothRing ring;
  ring.teeth = 34;
  ring.larger_tooth = 1.4;
  SensingElement element;
  element.volts_at_full_speed = 8.0;
  const ToothSignal signal = signal_of(ring, element);
  CHECK(height(signal, ring, 5) == doctest::Approx(8.0).epsilon(1e-5));
  CHECK(height(signal, ring, 34) == doctest::Approx(8.0 * 1.4).epsilon(1e-5));
  CHECK(height(signal, ring, 5, 0.1 * full_speed) == doctest::Approx(0.8).epsilon(1e-5));
}

TEST_CASE("a wider gap makes all pulses smaller by one factor") {
  ToothRing ring;
  SensingElement near, far;
  far.gap_mm = near.gap_mm + 0.5;
  const ToothSignal a = signal_of(ring, near), b = signal_of(ring, far);
  const double factor = height(b, ring, 1) / height(a, ring, 1);
  CHECK(factor == doctest::Approx(std::exp(-44.0 / 60.0 * 0.5)).epsilon(1e-9));
  CHECK(height(b, ring, 0) / height(a, ring, 0) == doctest::Approx(factor).epsilon(1e-9));
}

TEST_CASE("runout makes pulses smallest where the gap is widest") {
  ToothRing ring;
  ring.runout_mm = 0.2;
  ring.runout_deg = 90.0;
  const ToothSignal signal = signal_of(ring, SensingElement{});
  CHECK(height(signal, ring, 11) < height(signal, ring, 22));
  CHECK(height(signal, ring, 22) < height(signal, ring, 33));
}

TEST_CASE("debris loses the stated part of the pulses and adds false ones between teeth") {
  ToothRing ring;
  SensingElement element;
  element.debris.missing = 0.05;
  const ToothSignal signal = signal_of(ring, element);
  constexpr int pulses = 20000;
  int lost = 0;
  for (std::int64_t k = 0; k < pulses; ++k) lost += signal.missing(k) ? 1 : 0;
  CHECK(std::abs(lost - 1000.0) < 4.5 * std::sqrt(pulses * 0.05 * 0.95));

  std::int64_t gone = 0;
  while (!signal.missing(gone)) ++gone;
  CHECK(height(signal, ring, gone) < 1e-12);  // only the neighbours' very edges are left

  element.debris = {};
  element.debris.extra = 1.0;
  const ToothSignal crowded = signal_of(ring, element);
  const ToothSignal clean = signal_of(ring, SensingElement{});
  double difference = 0.0;
  const double pitch = 2.0 * std::numbers::pi / ring.teeth;
  for (double part = 0.35; part < 0.65; part += 0.001) {
    const ShaftState between{(4.0 + part) * pitch, full_speed};
    difference = std::max(difference, std::abs(crowded.volts(between) - clean.volts(between)));
  }
  CHECK(difference > 0.4 * element.volts_at_full_speed);
}

TEST_CASE("a ring of one tooth gives one pulse per revolution") {
  ToothRing ring;
  ring.teeth = 1;
  ring.pulse_width = 0.03;
  const ToothSignal signal = signal_of(ring, SensingElement{});
  CHECK(signal.volts({1.0, full_speed}) == 0.0);
  CHECK(signal.volts({-0.01, full_speed}) > 0.0);
  CHECK(signal.volts({20.0 * std::numbers::pi + 0.01, full_speed}) < 0.0);
}

TEST_CASE("a ring or element that cannot be is refused with the key that is wrong") {
  ToothRing ring;
  SensingElement element;
  CHECK(complaint(ring, element).empty());
  ring.teeth = 0;
  CHECK(complaint(ring, element) == "ring.teeth");
  ring = {};
  ring.spacing_error_deg.assign(44, 0.0);
  ring.spacing_error_deg[0] = 0.1;
  CHECK(complaint(ring, element) == "ring.spacing_error_deg[0]");
  ring.spacing_error_deg = {0.0, NAN};
  CHECK(complaint(ring, element) == "ring.spacing_error_deg");
  ring = {};
  ring.height = {1.0};
  CHECK(complaint(ring, element) == "ring.height");
  ring = {};
  element.debris.missing = 1.2;
  CHECK(complaint(ring, element) == "debris.missing");
  element = {};
  element.gap_mm = NAN;
  CHECK(complaint(ring, element) == "element.gap_mm");
}

#include <doctest/doctest.h>

#include <cmath>

#include "trimwright/rotor.hpp"

using namespace trimwright;

TEST_CASE("Clockwise from one end is counterclockwise from the other") {
  const SeenSense rotation{Sense::clockwise, ViewingEnd::aft};
  CHECK(rotation.seen(ViewingEnd::front) == Sense::counterclockwise);
  CHECK(SeenSense{Sense::counterclockwise, ViewingEnd::front}.relative_to(rotation) ==
        Direction::with_rotation);
  CHECK(SeenSense{Sense::clockwise, ViewingEnd::front}.relative_to(rotation) == Direction::against_rotation);
  CHECK(SeenSense{Sense::clockwise, ViewingEnd::aft}.relative_to(rotation) == Direction::with_rotation);
}

TEST_CASE("Slots numbered against rotation step backwards from slot 1") {
  const SlotRing ring{40, RotorAngle::from_degrees(4.0), {}, Direction::against_rotation, {11, 12}};
  CHECK(ring.angle(1).degrees() == doctest::Approx(4.0));
  CHECK(ring.angle(2).degrees() == doctest::Approx(355.0));
  CHECK(ring.usable(10));
  CHECK_FALSE(ring.usable(11));
  CHECK_FALSE(ring.usable(0));
  CHECK_FALSE(ring.usable(41));
}

TEST_CASE("A position is told between the blades a person counts") {
  BladeRow blades{29, RotorAngle{}, {}, Direction::with_rotation};
  CHECK(blades.position(RotorAngle{}) == "at blade 1");
  CHECK(blades.position(RotorAngle::from_degrees(10.0)) == "between blades 1 and 2");
  CHECK(blades.position(RotorAngle::from_degrees(350.0)) == "between blades 29 and 1");
  blades.numbered_relative = Direction::against_rotation;
  CHECK(blades.position(RotorAngle::from_degrees(350.0)) == "between blades 1 and 2");
  CHECK(blades.position(RotorAngle::from_degrees(359.95)) == "at blade 1");
}

TEST_CASE("A limit holds up to its speed") {
  Sensor sensor;
  sensor.bands = {{3000.0, 0.8, 0.2}, {5000.0, 1.0, {}}};
  CHECK(sensor.band_at(3000.0)->limit == 0.8);
  CHECK(sensor.band_at(3000.1)->limit == 1.0);
  CHECK(sensor.band_at(5000.1) == nullptr);
}

TEST_CASE("Turning a sensor over is 180 degrees, and a phase of displacement lags that of velocity by 90") {
  Sensor sensor;
  sensor.unit = *parse_vibration_unit("in/s peak");
  sensor.phase_of = MotionQuantity::velocity;
  const Phasor outward = from_shown(sensor, {1.0, 30.0}, PhaseConvention::lag);
  sensor.positive_inward = true;
  CHECK(std::abs(from_shown(sensor, {1.0, 30.0}, PhaseConvention::lag) + outward) < 1e-12);
  CHECK(
      shown(sensor, from_shown(sensor, {1.0, 30.0}, PhaseConvention::lag), PhaseConvention::lag).phase_deg ==
      doctest::Approx(30.0));
  sensor.positive_inward = false;
  sensor.phase_of = MotionQuantity::displacement;  // its peak comes 90 degrees after that of velocity
  CHECK(std::abs(from_shown(sensor, {1.0, 120.0}, PhaseConvention::lag) - outward) < 1e-12);
}

TEST_CASE("No angle is told as 360 degrees, and a half is rounded up, as the page's script does") {
  CHECK(angle_position(Rotor{}, RotorAngle::from_degrees(359.96)).text() == "0.0° with rotation");
  CHECK(angle_words(359.94) == "359.9°");
  CHECK(angle_words(11.25) == "11.3°");  // slot 2 of 32
  CHECK(angle_words(-0.2, 0) == "0°");
  CHECK(angle_words(144.5, 0) == "145°");
  CHECK(angle_words(144.4999999, 0) == "145°");  // a half that a file's decimals made a little less
  CHECK(moment_words(std::polar(830.0, radians(-0.2)), 0) == "830 g mm at 0°");
  CHECK(moment_words(std::polar(830.0, radians(63.0))) == "830 g mm at 63.0°");
}

TEST_CASE("A moment is told to four digits and never in powers of ten") {
  CHECK(moment_words(12345.0) == "12350 g mm");
  CHECK(moment_words(830.04) == "830 g mm");
  CHECK(moment_words(0.12344) == "0.1234 g mm");
  CHECK(moment_words(0.0) == "0 g mm");
}

TEST_CASE("A plane is seen from the end at which its slots are counted, or else the rotation is told") {
  Rotor rotor;
  rotor.rotation = {Sense::clockwise, ViewingEnd::aft};
  Plane plane;
  CHECK(viewing_end(rotor, plane) == ViewingEnd::aft);
  plane.slots = SlotRing{};
  plane.slots->numbered.seen_from = ViewingEnd::front;
  CHECK(viewing_end(rotor, plane) == ViewingEnd::front);
  CHECK(seen_words(ViewingEnd::front) == "seen from the front (ahead of the engine, looking aft)");
}

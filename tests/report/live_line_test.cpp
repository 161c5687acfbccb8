#include "report/live_line.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "job_builder.hpp"

using namespace trimwright;

namespace {

/// A dwell of eight seconds at 3000 rpm, amplitude 1, the phase known to `sd_deg`.
ReadingNow held(double sd_deg) {
  ReadingNow now;
  now.reference = ReferenceVerdict::trusted;
  now.speed_rpm = 3000.0;
  now.dwell.span = {2.0, 10.0};
  now.dwell.speed_rpm = 3000.0;
  now.dwell.blocks = 50;
  now.dwell.phase_trusted = true;
  now.dwell.channels.resize(1);
  now.dwell.channels[0].value = 1.0;
  now.dwell.channels[0].sd = radians(sd_deg);
  return now;
}

std::string shown_now(const ReadingNow& now) {
  const Rotor rotor = testing::free_rotor({"fan"}, {"front"}, PhaseConvention::lag);
  const std::vector<RecordedSensor> sensors{{0, rotor.sensors[0].unit}};
  return live_line(now, sensors, rotor);
}

bool told(const std::string& line, const std::string& words) { return line.find(words) != std::string::npos; }

}  // namespace

TEST_CASE(
    "while it is recorded a reading says how sure it is and how long to hold on, four times for half the "
    "deviation") {
  CHECK(told(shown_now(held(2.0)), "3000 rpm | front"));
  CHECK(told(shown_now(held(2.0)), "± 2°"));
  CHECK(told(shown_now(held(2.0)), "hold on: 24 s more for ± 1°"));
  CHECK(told(shown_now(held(0.9)), "enough"));
  ReadingNow now = held(2.0);
  now.dwell.steady = false;
  CHECK(told(shown_now(now), "not steady"));
  now.dwell.phase_trusted = false;
  CHECK(told(shown_now(now), "hold the speed"));
}

TEST_CASE("a reference that is lost or not trusted is said at once, without a phase") {
  ReadingNow now = held(0.5);
  now.without_teeth_s = 3.0;
  CHECK(told(shown_now(now), "NO REFERENCE for 3 s"));
  now = held(0.5);
  now.reference = ReferenceVerdict::no_larger_tooth;
  CHECK(told(shown_now(now), "NO PHASE: no larger tooth stands out"));
  CHECK_FALSE(told(shown_now(now), "±"));
}

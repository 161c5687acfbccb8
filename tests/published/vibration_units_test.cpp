// Relations of a sine between displacement, velocity and acceleration as tabulated in Harris' Shock and
// Vibration Handbook (Harris and Piersol, table of conversion factors for simple harmonic motion; from
// memory):
//   velocity peak [in/s]   = pi f D,          D displacement peak to peak [in]
//   acceleration peak [g]  = 0.0511 f^2 D     (D in inches peak to peak)
//   acceleration peak [g]  = 0.0162 f V       (V in in/s peak)
//   acceleration peak [g]  = 0.00202 f^2 D    (D in mm peak to peak)
//   rms = 0.707 peak, peak to peak = 2 peak
// and: velocity leads displacement by 90 degrees, acceleration by 180.
#include <doctest/doctest.h>

#include <numbers>

#include "trimwright/phasor.hpp"

using namespace trimwright;

namespace {

/// `shown` in unit `from`, restated as it would be shown in unit `to`, at `hertz`.
double restated(double shown, const char* from, const char* to, double hertz) {
  const auto a = parse_vibration_unit(from);
  const auto b = parse_vibration_unit(to);
  REQUIRE(a);
  REQUIRE(b);
  const auto peak = convert_peak(a->peak_from_shown(shown), *a, *b, hertz * 60.0);
  REQUIRE(peak);
  return b->shown_from_peak(*peak);
}

}  // namespace

TEST_CASE("Handbook factors between displacement, velocity and acceleration") {
  for (const double f : {15.0, 60.0, 85.0}) {
    CAPTURE(f);
    CHECK(restated(1.0, "in pp", "in/s peak", f) == doctest::Approx(std::numbers::pi * f).epsilon(1e-12));
    CHECK(restated(1.0, "in pp", "g peak", f) == doctest::Approx(0.0511 * f * f).epsilon(1e-3));
    CHECK(restated(1.0, "in/s peak", "g peak", f) == doctest::Approx(0.0162 * f).epsilon(6e-3));
    CHECK(restated(1.0, "mm pp", "g peak", f) == doctest::Approx(0.00202 * f * f).epsilon(5e-3));
  }
}

TEST_CASE("Detectors of a sine") {
  CHECK(restated(1.0, "mm/s peak", "mm/s rms", 50.0) == doctest::Approx(0.7071).epsilon(1e-4));
  CHECK(restated(1.0, "mm/s rms", "mm/s peak", 50.0) == doctest::Approx(1.4142).epsilon(1e-4));
  CHECK(restated(1.0, "mil pp", "mil peak", 50.0) == doctest::Approx(0.5).epsilon(1e-12));
  CHECK(restated(1.0, "mil peak", "mil pp", 50.0) == doctest::Approx(2.0).epsilon(1e-12));
  CHECK(restated(1.0, "mil pp", "um pp", 50.0) == doctest::Approx(25.4).epsilon(1e-12));
  CHECK(restated(1.0, "in/s peak", "mm/s peak", 50.0) == doctest::Approx(25.4).epsilon(1e-12));
  CHECK(restated(1.0, "g peak", "m/s2 peak", 50.0) == doctest::Approx(9.80665).epsilon(1e-12));
}

TEST_CASE("Each derivative leads by 90 degrees") {
  CHECK(phase_lead_deg(MotionQuantity::displacement, MotionQuantity::velocity) == 90.0);
  CHECK(phase_lead_deg(MotionQuantity::displacement, MotionQuantity::acceleration) == 180.0);
  CHECK(phase_lead_deg(MotionQuantity::acceleration, MotionQuantity::velocity) == -90.0);
}

TEST_CASE("A display unit converts to nothing but itself") {
  const auto shown = display_unit("units");
  CHECK(*convert_peak(2.0, shown, shown, 3000.0) == 2.0);
  CHECK_FALSE(convert_peak(2.0, shown, *parse_vibration_unit("mm/s peak"), 3000.0));
}

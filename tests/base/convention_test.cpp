#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "trimwright/phasor.hpp"

using namespace trimwright;

TEST_CASE("A lag of 90 degrees is a quarter turn from the reference pulse to the next positive peak") {
  const Phasor x = phasor_from_shown(2.0, 90.0, PhaseConvention::lag);
  // x(t) = Re(X e^{j Omega t}): the peak comes when Omega t is the lag.
  const auto signal = [&](double turned_deg) { return (x * std::polar(1.0, radians(turned_deg))).real(); };
  CHECK(signal(90.0) == doctest::Approx(2.0));
  CHECK(std::abs(signal(0.0)) < 1e-12);
  CHECK(signal(45.0) > 0.0);
}

TEST_CASE("Shown phases come back as they were written") {
  for (const auto convention : {PhaseConvention::lag, PhaseConvention::lead})
    for (const double phase : {0.0, 37.0, 180.0, 359.0})
      CHECK(shown_phase_deg(phasor_from_shown(1.0, phase, convention), convention) == doctest::Approx(phase));
}

TEST_CASE("Angles wrap into one turn and never read 360") {
  CHECK(wrap_360(-90.0) == 270.0);
  CHECK(wrap_360(720.0) == 0.0);
  CHECK(wrap_360(-1e-18) == 0.0);
  CHECK(wrap_180(270.0) == -90.0);
  CHECK(RotorAngle::from_degrees(30.0, Direction::against_rotation).degrees() == doctest::Approx(330.0));
}

TEST_CASE("Quantities are read with their unit and nothing is guessed") {
  CHECK(*parse_mass_g("4.2 g") == 4.2);
  CHECK(*parse_mass_g("1 oz") == doctest::Approx(28.349523125));
  CHECK(*parse_length_mm("8.35 in") == doctest::Approx(212.09));
  CHECK(*parse_moment_g_mm("1 oz.in") == doctest::Approx(720.0779));
  for (const auto* same : {"79 g.cm", "79 g cm", "79 g·cm", "79 g*cm", "790 g.mm", "0.79 kg.mm"})
    CHECK(*parse_moment_g_mm(same) == doctest::Approx(790.0));
  for (const auto* bad : {"4.2", "nan g", "inf g", "1e999 g", "", "g", "4,2 g", "4.2.1 g", "1 stone"}) {
    CAPTURE(bad);
    CHECK_FALSE(parse_mass_g(bad));
  }
  CHECK(parse_mass_g("4.2").error().message().find("no unit") != std::string::npos);
}

TEST_CASE("A vibration unit needs its detector") {
  CHECK(parse_vibration_unit("in/s peak")->text() == "in/s peak");
  CHECK(parse_vibration_unit("um pp")->symbol == "µm");
  CHECK_FALSE(parse_vibration_unit("in/s"));
  CHECK_FALSE(parse_vibration_unit("furlong peak"));
}

TEST_CASE("An error names what, where and what was expected") {
  const Error error{"there is no value", "a mass", {"rotor.yaml", 12, "mass"}};
  CHECK(error.message() == "rotor.yaml:12: mass: there is no value; expected a mass");
}

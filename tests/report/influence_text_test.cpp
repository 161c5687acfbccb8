#include <doctest/doctest.h>

#include <regex>

#include "trimwright/influence.hpp"
#include "trimwright/report.hpp"

using namespace trimwright;

namespace {

std::string text_of(PhaseConvention phase) {
  JobBuilder bench("bench rotor", phase);
  bench.plane("disc").sensor("bearing", "mm/s peak", 4.0);
  bench.run("baseline").read("bearing", 1500.0, 3.2, 40.0);
  bench.run("trial").fit("disc", 500.0, 90.0).read("bearing", 1500.0, 2.5, 75.0);
  const Job job = bench.job().value();
  const std::string text = influence_text(job, fit_influence(job).value());
  return std::regex_replace(text, std::regex("\\s+"), " ");  // however its lines are broken
}

// By hand: 2.5 at 75 less 3.2 at 40 is 1.839 at 168.8 (as lag and as lead: the same triangle); over 500
// g mm.
TEST_CASE(
    "one coefficient is shown as a person works it out: the phase plus the angle in lag, less it in lead") {
  const std::string lag = text_of(PhaseConvention::lag), lead = text_of(PhaseConvention::lead);
  CHECK(lag.find("the change is 1.839 ∠ 168.8°") != std::string::npos);
  CHECK(lag.find("the change is 500 g mm at 90.0°") != std::string::npos);
  CHECK(lag.find("3.679 ∠ 258.8° per 1000 g mm") != std::string::npos);
  CHECK(lead.find("3.679 ∠ 78.8° per 1000 g mm") != std::string::npos);
}

}  // namespace

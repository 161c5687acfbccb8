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

TEST_CASE("where the runs are as many as the unknowns no reading is named, and what would show one is") {
  const std::string text = text_of(PhaseConvention::lag);
  CHECK(text.find("2 runs for 2 unknowns") != std::string::npos);
  CHECK(
      text.find("WHAT TO REPEAT * 2 runs for 2 unknowns (the vibration as found, and how each plane acts): a "
                "mistyped reading cannot be found by comparing the runs. One more run would show it") !=
      std::string::npos);
}

TEST_CASE("a coefficient is read down the speeds, of one sensor and plane after the other") {
  JobBuilder bench("bench rotor", PhaseConvention::lag);
  bench.plane("disc").sensor("front", "mm/s peak", 4.0).sensor("rear", "mm/s peak", 4.0);
  bench.run("baseline");
  for (const double rpm : {1500.0, 2000.0}) bench.read("front", rpm, 3.0, 40.0).read("rear", rpm, 2.0, 10.0);
  bench.run("trial").fit("disc", 500.0, 90.0);
  for (const double rpm : {1500.0, 2000.0}) bench.read("front", rpm, 2.0, 70.0).read("rear", rpm, 1.0, 20.0);
  const Job job = bench.job().value();
  const std::string text = influence_text(job, fit_influence(job).value());
  CHECK(std::regex_search(text, std::regex("front +disc +1500 rpm.*\n +front +disc +2000 rpm.*\n +rear +disc "
                                           "+1500 rpm")));
}

}  // namespace

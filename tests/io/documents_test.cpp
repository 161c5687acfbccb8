#include <doctest/doctest.h>

#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"

using namespace trimwright;

TEST_CASE("A document says from which mark on the rotor its angles start, as texts and pages do") {
  Rotor rotor;
  rotor.name = "bench rotor";
  rotor.phase = PhaseConvention::lag;
  rotor.reference.mark = "white paint at blade 1";
  JobBuilder bench(rotor);
  bench.plane("disc").sensor("bearing", "mm/s peak", 4.0);
  bench.run("baseline").read("bearing", 1500.0, 3.2, 40.0);
  bench.run("trial").fit("disc", 500.0, 90.0).read("bearing", 1500.0, 2.5, 75.0);
  const Job job = bench.job().value();
  CHECK(influence_json(job, fit_influence(job).value())
            .find("with rotation, from the white paint at blade 1\"") != std::string::npos);
}

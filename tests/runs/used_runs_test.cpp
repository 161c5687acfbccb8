#include "runs/used_runs.hpp"

#include <doctest/doctest.h>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

Run at_rest(const Rotor& rotor, const std::string& name, const std::vector<FreePiece>& front) {
  return run_of(rotor, name, {front, {}}, {{0.5, 40.0}});
}

}  // namespace

TEST_CASE("A plane is changed by other weights or by a known change, not by rounding or by a run set aside") {
  const Rotor rotor = free_rotor({"front", "rear"}, {"A"});
  Job job = job_of(rotor, {at_rest(rotor, "as found", {{0.1, {}}, {0.2, {}}, {0.3, {}}}),
                           at_rest(rotor, "counted the other way", {{0.3, {}}, {0.2, {}}, {0.1, {}}})});
  REQUIRE(run_unbalance(job, 0) != run_unbalance(job, 1));
  CHECK(planes_changed(job, runs_used(job)).empty());
  job.runs.push_back(at_rest(rotor, "blade exchanged", {{0.6, {}}}));
  job.runs.back().changes.push_back({1, 200.0, {}});
  CHECK(planes_changed(job, runs_used(job)) == std::vector<std::size_t>{1});
  job.runs.back().set_aside = "gusts";
  CHECK(planes_changed(job, runs_used(job)).empty());
  CHECK(planes_changed(job, {}).empty());
}

TEST_CASE("A run is read when it has readings and is not set aside") {
  const Rotor rotor = free_rotor({"front", "rear"}, {"A"});
  Job job = job_of(rotor,
                   {at_rest(rotor, "as found", {}), at_rest(rotor, "gusts", {}), at_rest(rotor, "next", {})});
  job.runs[1].set_aside = "gusts";
  job.runs[2].readings.clear();
  CHECK(runs_used(job) == std::vector<std::size_t>{0, 2});
  CHECK(runs_read(job) == std::vector<std::size_t>{0});
}

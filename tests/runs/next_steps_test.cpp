#include <doctest/doctest.h>

#include "runs/next_steps.hpp"
#include "trimwright/job.hpp"

using namespace trimwright;

namespace {

JobBuilder two_planes() {
  JobBuilder builder("rotor", PhaseConvention::lag);
  builder.plane("fan").plane("turbine").sensor("front", "in/s peak", 1.0);
  return builder;
}

NextSteps next_of(const JobBuilder& builder) {
  auto job = builder.job();
  REQUIRE(job);
  job->serial = "7";
  return next_steps(*job, false);
}

}  // namespace

TEST_CASE("The next command follows from what the runs hold") {
  auto job = two_planes();
  job.run("as found");
  CHECK(next_of(job).command == "ready");
  CHECK(next_of(job).missing.front().find("run \"as found\"") != std::string::npos);
  job.read("front", 3000.0, 0.5, 40.0);
  CHECK(next_of(job).command == "trial");
  CHECK(next_of(job).missing.front().find("fan, turbine") != std::string::npos);
  job.run("trial").fit("fan", 500.0, 30.0).read("front", 3000.0, 0.3, 70.0);
  CHECK(next_of(job).command == "plan");
  CHECK(next_of(job).missing.front().find("yet in: turbine") != std::string::npos);
  job.run("other trial").fit("turbine", 500.0, 30.0).read("front", 3000.0, 0.4, 10.0);
  CHECK(next_of(job).command == "plan");
  CHECK(next_of(job).missing.empty());
}

TEST_CASE("What is only assumed comes first, and no run is tried with a prior") {
  auto job = two_planes().run("as found").read("front", 3000.0, 0.5, 40.0).job();
  REQUIRE(job);
  job->rotor.to_confirm = {"slots", "limits"};
  CHECK(next_steps(*job, true).command == "ready");
  CHECK(next_steps(*job, true).missing.front().find("slots, limits") != std::string::npos);
  CHECK(next_steps(*job, true).missing.back().find("serial") != std::string::npos);
}

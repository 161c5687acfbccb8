#include <doctest/doctest.h>

#include <cmath>

#include "job_builder.hpp"
#include "trimwright/plan.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

constexpr int looks_in_limit = 400;
int looks = 0;

/// A clock that goes on only when it is looked at: so long a search may take is counted, not timed.
Deadline::Clock::time_point counting_clock() {
  return Deadline::Clock::time_point(std::chrono::milliseconds(++looks));
}

TrimRequest counted_request() {
  TrimRequest request;
  request.time_limit_s = 1e-3 * looks_in_limit;
  request.clock = counting_clock;
  return request;
}

/// Two planes of 36 slots and five weights, six sensors: more than any search here gets done.
Job endless_job() {
  Rotor rotor = free_rotor({}, {"A", "B", "C", "D", "E", "F"});
  rotor.mass_kg = 1000.0;
  for (auto& sensor : rotor.sensors) sensor.bands = {{10000.0, 1.0, 1e-3}};  // a target that none meets
  for (const char* name : {"spinner", "drum"})
    rotor.planes.push_back(slotted_plane(name, 36, {31.0, 47.0, 73.0, 101.0, 149.0}));
  KnownRotor known;
  for (int s = 0; s < 6; ++s) {
    known.x0.push_back(std::polar(0.9, 1.7 * s * s));
    known.c.push_back({std::polar(1.1e-3, 0.9 * s), std::polar(0.8e-3, 2.3 * s + 0.4)});
  }
  FittedWeights one;
  one.slots[1] = {"w5", 149.0};
  return job_of(rotor, {known.run(rotor, "baseline", {{}, {}}), known.run(rotor, "trial spinner", {one, {}}),
                        known.run(rotor, "trial drum", {{}, one})});
}

/// How often `call` looks at the clock in all.
template <class Call>
int counted(Call call) {
  looks = 0;
  call();
  return looks;
}

/// Once the limit is over every search still under way looks once more, and no search begins.
void check_limit(int count) {
  CHECK(count >= looks_in_limit);
  CHECK(count < looks_in_limit + looks_in_limit / 4);
}

}  // namespace

TEST_CASE("A plan takes the time it is given, and no more") {
  check_limit(counted([] {
    const auto planned = plan_job({endless_job(), counted_request()});
    REQUIRE(planned);
    CHECK_FALSE(planned->trim.trade_off.back().proved_optimal);
  }));
}

TEST_CASE("Further plans and the other objective share the one limit") {
  check_limit(counted([] {
    auto request = counted_request();
    request.best = 3;
    request.both_objectives = true;
    CHECK(plan_job({endless_job(), request}));
  }));
}

TEST_CASE("Easily reached planes are tried for half of the limit, then all") {
  check_limit(counted([] {
    Job job = endless_job();
    job.rotor.planes[1].access = Access::hard;
    auto request = counted_request();
    request.plane_choice = PlaneChoice::easy_first;
    const auto planned = plan_job({job, request});
    REQUIRE(planned);
    CHECK(planned->trim.planes.size() == 2);
    CHECK(planned->trim.trade_off.size() > 1);  // the second search had time too
  }));
}

TEST_CASE("A trial is advised within the limit") {
  check_limit(counted([] { CHECK(plan_trial(endless_job(), counted_request(), nullptr, {})); }));
}

#include <doctest/doctest.h>

#include <cmath>

#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"
#include "virtual_fleet.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Largest amplitude over its limit that a rotor would really have after the correction of a job.
double left_by(const VirtualFleet& fleet, const FleetRotor& rotor, const Job& job) {
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
  for (const auto& part : trim->correction.parts)
    u(static_cast<Eigen::Index>(part.plane)) = part.moment_to_add;
  return (rotor.x0 + rotor.c * u).cwiseAbs().maxCoeff() / fleet.rotor().sensors[0].bands[0].limit;
}

struct World {
  VirtualFleet fleet;
  FleetDraws draws{7190901};
  FleetRotor rotor = fleet.draw({}, {}, draws);

  Run run(const std::string& name, int plane, double effect) {
    Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
    if (plane >= 0) u(plane) = fleet.moment_worth(effect, plane);
    return fleet.run(rotor, name, u, {}, draws);
  }
};

Run turned(Run run, double degrees) {
  for (auto& reading : run.readings) reading.x = *reading.x * std::polar(1.0, radians(degrees));
  return run;
}

}  // namespace

TEST_CASE("Trial runs one tooth off the baseline spoil the correction, unless the job says so") {
  World world;
  const double tooth = 360.0 / 44.0;
  const Run found = world.run("as found", -1, 0.0), front = world.run("front", 0, 0.3),
            rear = world.run("rear", 1, 0.3), again = world.run("again", -1, 0.0);
  const auto job_with = [&](double degrees, std::vector<Event> before, bool repeated) {
    std::vector<Run> runs{found, turned(front, degrees), turned(rear, degrees)};
    if (repeated) runs.push_back(turned(again, degrees));
    runs[1].before = std::move(before);
    Job job = world.fleet.job(runs);
    job.fitted_now = found.fitted;
    return job;
  };
  const auto left = [&](const Job& job) { return left_by(world.fleet, world.rotor, job); };
  const double sound = left(job_with(0.0, {}, false));
  CHECK(left(job_with(tooth, {}, false)) > 2.0 * sound);
  CHECK(left(job_with(tooth, {{Event::Kind::reference_moved, 0, radians(tooth)}}, false)) ==
        doctest::Approx(sound).epsilon(1e-6));
  CHECK_FALSE(fit_influence(job_with(tooth, {{Event::Kind::reference_moved}}, false)));
  CHECK(left(job_with(tooth, {{Event::Kind::reference_moved}}, true)) < 1.3 * sound);
}

TEST_CASE("After relubrication the plan is for the new baseline, with the coefficients of before") {
  World world;
  std::vector<Run> runs{world.run("as found", -1, 0.0), world.run("front", 0, 0.5),
                        world.run("rear", 1, 0.5)};
  // A third of the vibration, and more that no weight explains, is another since then.
  world.rotor.x0 += 0.8 * world.rotor.c *
                    Eigen::Vector2cd(world.fleet.moment_worth(0.9, 0), -world.fleet.moment_worth(0.6, 1));
  runs.push_back(world.run("relubricated", -1, 0.0));
  const Job ignored = world.fleet.job(runs);
  runs.back().before = {{Event::Kind::baseline_new, 0, {}, "relubricated"}};
  const Job told = world.fleet.job(runs);
  const double wrong = left_by(world.fleet, world.rotor, ignored);
  const double right = left_by(world.fleet, world.rotor, told);
  CHECK(right < 0.12);
  CHECK(wrong > 2.0 * right);
}

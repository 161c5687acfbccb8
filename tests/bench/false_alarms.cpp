// How often the check run of a sound job is called not as predicted: a table for docs/check.md.
//
//   false_alarms [jobs] [seed]
//
// A baseline twice and a trial run per plane, the least-squares correction, and the check run with it; noise
// of the mix named and nothing wrong.

#include <fmt/format.h>

#include <cstdlib>

#include "cancelling_world.hpp"
#include "trimwright/check.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

void study(const World& world, int jobs, std::uint64_t seed) {
  Draws draws{boost::random::mt19937_64(seed)};
  int judged = 0, alarms = 0, blamed = 0;
  for (int j = 0; j < jobs; ++j) {
    CancellingRotor rotor(world, draws, random_type(world, draws), 0.0);
    rotor.usual_runs();
    const auto model = fit_influence(rotor.job);
    if (!model) continue;
    const auto trim = plan_trim(rotor.job, *model, {});
    if (!trim) continue;
    Eigen::VectorXcd u = Eigen::VectorXcd::Zero(world.planes);
    for (const auto& part : trim->correction.parts)
      u(static_cast<Eigen::Index>(part.plane)) = part.moment_to_add;
    rotor.job.runs.push_back(rotor.run(u));
    if (!settle_places(rotor.job)) continue;
    const auto ranking = rank_mistakes(rotor.job, *model, rotor.job.runs.size() - 1);
    if (ranking.kinds.empty()) continue;
    ++judged;
    alarms += !ranking.as_predicted();
    blamed += ranking.cause_known();
  }
  fmt::print("| {} | {} | {:.1f} % | {:.1f} % |\n", world.name, judged, 100.0 * alarms / std::max(judged, 1),
             100.0 * blamed / std::max(judged, 1));
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int jobs = argc > 1 ? std::atoi(argv[1]) : 300;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  fmt::print("| noise | sound check runs | not as predicted | and a mistake named |\n|---|---|---|---|\n");
  const auto with = [&](const char* name, double run_to_run, double proportional, double poor, bool stated) {
    World world;
    world.name = name;
    world.run_to_run = run_to_run * world.within;
    world.proportional = proportional;
    world.poor_readings = poor;
    world.stated = stated;
    study(world, jobs, seed);
  };
  with("repeatability alone", 0.0, 0.0, 0.0, true);
  with("run-to-run 1.5 times the repeatability", 1.5, 0.0, 0.0, true);
  with("run-to-run 10 times", 10.0, 0.0, 0.0, true);
  with("proportional 3 %", 0.0, 0.03, 0.0, true);
  with("proportional 10 %", 0.0, 0.10, 0.0, true);
  with("own sd", 0.0, 0.0, 0.25, true);
  with("all parts", 1.5, 0.03, 0.25, true);
  with("nothing stated: repeatability alone", 0.0, 0.0, 0.0, false);
  with("nothing stated: run-to-run 1.5 times", 1.5, 0.0, 0.0, false);
}

// How often sound jobs are told that something is wrong: a table for docs/certainty.md.
//
//   certainty_honest [jobs] [seed]
//
// Jobs of five or six runs, noise as stated and nothing else wrong. Misfit: chi-squared rejects the stated
// noise at 1 %. "Do not fit anything": neither way of reading the phases fits, or the runs contradict the
// conventions. Suspect: the review calls a reading or a run suspect (5 % each is meant).

#include <fmt/format.h>

#include <cstdlib>

#include "cancelling_world.hpp"
#include "trimwright/review.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

void study(const World& world, double missing, int jobs, std::uint64_t seed) {
  Draws draws{boost::random::mt19937_64(seed)};
  int misfit = 0, stopped = 0, suspect = 0, judged = 0;
  double squares = 0.0, stated = 0.0;
  for (int j = 0; j < jobs; ++j) {
    CancellingRotor rotor(world, draws, random_type(world, draws), 0.0);
    rotor.usual_runs();
    rotor.usual_runs_again();
    for (std::size_t r = 1; r < rotor.job.runs.size(); ++r)
      std::erase_if(rotor.job.runs[r].readings, [&](const Reading&) { return draws.uniform() < missing; });
    const auto model = fit_influence(rotor.job);
    if (!model || model->runs.misfit_dof == 0) continue;
    ++judged;
    misfit += fit_probability(*model) < 0.01;
    using enum MirrorTest::Outcome;
    stopped += model->runs.mirror.outcome == neither_fits || model->runs.mirror.outcome == contradicts;
    const auto review = review_influence(rotor.job, *model);
    suspect += std::ranges::any_of(review.readings, &ReviewedReading::suspect) ||
               std::ranges::any_of(review.runs, &ReviewedRun::suspect);
    if (excess_scatter(*model) > 1.0) continue;
    for (const auto& row : model->rows) {
      const auto i = static_cast<Eigen::Index>(2 * row.speed + row.sensor);
      for (Eigen::Index p = 0; p < row.coefficients.size(); ++p) {
        squares += 0.5 * std::norm(row.coefficients(p) - rotor.c(i, p));
        stated += std::pow(*coefficient_sd(*model, row, static_cast<std::size_t>(p)), 2);
      }
    }
  }
  fmt::print("| {}{} | {} | {:.1f} % | {:.1f} % | {:.1f} % | {:.3f} |\n", world.name,
             missing > 0.0 ? ", readings missing" : "", judged, 100.0 * misfit / judged,
             100.0 * stopped / judged, 100.0 * suspect / judged, std::sqrt(squares / stated));
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int jobs = argc > 1 ? std::atoi(argv[1]) : 300;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  fmt::print(
      "| noise stated | jobs | misfit at 1 % | do not fit anything | a suspect | error of coefficients over "
      "± "
      "|\n|---|---|---|---|---|---|\n");
  const auto with = [&](const char* name, double run_to_run, double proportional, double poor,
                        double missing) {
    World world;
    world.name = name;
    world.run_to_run = run_to_run * world.within;
    world.proportional = proportional;
    world.poor_readings = poor;
    study(world, missing, jobs, seed);
  };
  with("repeatability alone", 0.0, 0.0, 0.0, 0.0);
  with("run-to-run 1.5 times the repeatability", 1.5, 0.0, 0.0, 0.0);
  with("run-to-run 10 times", 10.0, 0.0, 0.0, 0.0);
  with("proportional 3 %", 0.0, 0.03, 0.0, 0.0);
  with("proportional 10 %", 0.0, 0.10, 0.0, 0.0);
  with("own sd", 0.0, 0.0, 0.25, 0.0);
  with("all parts", 1.5, 0.03, 0.25, 0.0);
  with("all parts", 1.5, 0.03, 0.25, 0.1);
}

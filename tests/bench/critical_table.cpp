// Critical speeds of a rotor type's rotors differ: how often its fleet calls a sound rotor foreign, and how
// well a trial run in one plane tells the other plane's coefficients. A table for docs/earlier-jobs.md.
//
//   critical_table [rotors a row] [seed]

#include <fmt/format.h>

#include <cstdlib>

#include "learned_prior.hpp"
#include "trimwright/influence.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

void row(double critical, int jobs, int rotors, std::uint64_t seed) {
  const VirtualFleet fleet;
  const FleetSpread spread{0.1, 0.05, critical};
  FleetDraws draws(seed);
  int flagged = 0, within = 0, all = 0;
  double off = 0.0, said = 0.0;
  Prior prior;
  for (int r = 0; r < rotors; ++r) {
    if (r % 20 == 0) prior = learned_prior(fleet, spread, jobs, seed * 1000 + static_cast<std::uint64_t>(r));
    const FleetRotor rotor = fleet.draw(spread, {}, draws);
    std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
    for (const int p : {0, 1}) {
      Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
      trial(p) = std::polar(fleet.moment_worth(0.5, p), 2.0 * std::numbers::pi * draws.uniform());
      runs.push_back(fleet.run(rotor, fmt::format("trial {}", p), trial, {}, draws));
    }
    const auto alone = fit_influence(fleet.job(runs));
    const auto check = fleet_check(prior, fleet.job(runs), *alone->posterior);
    flagged += check && check->probability < 0.01;
    const auto one_trial = settle_and_fit(fleet.job({runs[0], runs[1]}), {}, &prior);
    if (!one_trial || !one_trial->model.posterior) continue;
    const auto& posterior = *one_trial->model.posterior;
    const double reach = interval_factor(0.9, posterior.unknowns.degrees_of_freedom);
    for (std::size_t i = 0; i < posterior.rows.size(); ++i) {
      const auto [speed, sensor] = posterior.rows[i];
      const std::size_t at = posterior.entry(i, 2);
      const Phasor truth = rotor.c(static_cast<Eigen::Index>(2 * speed + sensor), 1),
                   error = posterior.unknowns.at(at) - truth;
      for (const Eigen::Index part : {0, 1}) {
        const Eigen::Index k = 2 * static_cast<Eigen::Index>(at) + part;
        const double variance = posterior.unknowns.covariance(k, k);
        within += std::abs(part == 0 ? error.real() : error.imag()) <= reach * std::sqrt(variance);
        said += variance / std::norm(truth);
        ++all;
      }
      off += std::norm(error / truth);
    }
  }
  fmt::print("| {:.1f} % | {} | {} of {} | {:.3f} | {:.3f} | {:.1f} % |\n", 100.0 * critical, jobs, flagged,
             rotors, std::sqrt(2.0 * off / all), std::sqrt(2.0 * said / all), 100.0 * within / all);
}

}  // namespace

int main(int argc, char** argv) {
  const int rotors = argc > 1 ? std::atoi(argv[1]) : 200;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoi(argv[2]) : 1);
  fmt::print(
      "| critical speeds differ by | jobs in the prior | sound rotors called foreign (1 %) | rear plane "
      "after a "
      "front trial: relative error | said | nine in ten hold |\n|---|---|---|---|---|---|\n");
  for (const double critical : {0.0, 0.005, 0.01, 0.02})
    for (const int jobs : {10, 30}) row(critical, jobs, rotors, seed);
}

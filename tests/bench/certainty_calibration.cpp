// What is said of the next run against what it does: a table for docs/certainty.md.
//
//   certainty_calibration [jobs] [seed] [case, or "all"]
//
// Jobs are made here from X0 = -C V + d, with a baseline run twice and a trial run per plane, and corrected
// by least squares; targets are drawn so that every chance occurs. Said and met: mean of the chances of all
// targets, and the share of jobs that met them. Brier score: mean square of chance minus outcome (G. W.
// Brier, *Monthly Weather Review* 78 (1950)), beside that of the sampler that is told noise and size of d.
// Coverage: of intervals of nine readings in ten.

#include <fmt/format.h>

#include <array>
#include <chrono>
#include <cstdlib>
#include <string>
#include <vector>

#include "base/linear_algebra.hpp"
#include "cancelling_world.hpp"
#include "forecast/outlook.hpp"
#include "influence/cancelling.hpp"
#include "trimwright/forecast.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;
using Eigen::Index;

/// Total moments by least squares of the posterior's mean.
Eigen::VectorXcd correction(const InfluencePosterior& posterior) {
  const auto rows = static_cast<Index>(posterior.rows.size());
  Eigen::VectorXcd x0(rows);
  Eigen::MatrixXcd c(rows, static_cast<Index>(posterior.planes.size()));
  for (Index i = 0; i < rows; ++i) {
    const auto at = static_cast<std::size_t>(i);
    x0(i) = posterior.unknowns.at(posterior.entry(at, 0));
    for (Index p = 0; p < c.cols(); ++p)
      c(i, p) = posterior.unknowns.at(posterior.entry(at, 1 + static_cast<std::size_t>(p)));
  }
  return smallest_solution(c, -x0, 1e-9);
}

Outlook outlook(const InfluencePosterior& posterior, const Eigen::VectorXcd& u, double target) {
  const auto rows = static_cast<Index>(posterior.rows.size());
  const RowLevels levels{Eigen::VectorXd::Ones(rows), Eigen::VectorXd::Constant(rows, target)};
  return outlook_of(posterior, u, {}, levels);
}

struct Tally {
  int jobs = 0, inside = 0, readings = 0, unconverged = 0;
  double said = 0.0, met = 0.0, brier = 0.0, ideal_said = 0.0, ideal_brier = 0.0, seconds = 0.0;
  std::array<int, 10> count{}, count_met{};
  std::array<double, 10> count_said{};
};

template <class T>
T value_of(Result<T> result) {
  if (result) return *std::move(result);
  fmt::print(stderr, "certainty_calibration: {}\n", result.error().message());
  std::exit(1);
}

Prior learned(const World& world, const Eigen::MatrixXcd& type, double scatter, Draws& draws) {
  std::vector<FleetJob> jobs;
  for (int j = 0; j < world.fleet; ++j) {
    CancellingRotor bench(world, draws, type, scatter);
    bench.usual_runs();
    jobs.push_back({bench.job, std::to_string(j)});
  }
  return value_of(learn_prior(jobs));
}

void add_job(const World& world, Draws& draws, const Eigen::MatrixXcd& type, double scatter,
             const Prior* prior, Tally& tally) {
  CancellingRotor bench(world, draws, type, scatter);
  bench.usual_runs();
  if (prior != nullptr) bench.job.runs.resize(1);
  const auto start = std::chrono::steady_clock::now();
  const auto posterior = value_of(influence_posterior(bench.job, {}, prior, Residual::small));
  tally.seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  tally.unconverged += posterior.draws && posterior.draws->split_r_hat > agreeing_r_hat;
  Job known = bench.job;
  known.rotor = rotor_of(world, true);
  const auto ideal = value_of(posterior_with_left(known, {}, prior, LeftByFleet{world.left, 1e6}));
  const Eigen::VectorXcd u = correction(posterior);
  // A target about as large as what is likely to be left.
  const double target =
      (0.7 + 2.3 * draws.uniform()) * std::hypot(world.within, world.run_to_run, world.left) * 1.6;
  const Outlook foretold = outlook(posterior, u, target);
  const Outlook best = outlook(ideal, u, target);
  const Run next = bench.run(u);
  bool met = true;
  for (std::size_t i = 0; i < next.readings.size(); ++i) {
    const double amplitude = next.readings[i].amplitude;
    met = met && amplitude <= target;
    if (next.readings[i].repeatability) continue;
    ++tally.readings;
    tally.inside += amplitude >= foretold.readings[i].low && amplitude <= foretold.readings[i].high;
  }
  const double p = foretold.meets_targets;
  ++tally.jobs;
  tally.said += p;
  tally.met += met;
  tally.brier += std::pow(p - met, 2);
  tally.ideal_said += best.meets_targets;
  tally.ideal_brier += std::pow(best.meets_targets - met, 2);
  const auto bin = std::min<std::size_t>(9, static_cast<std::size_t>(10.0 * p));
  ++tally.count[bin];
  tally.count_met[bin] += met;
  tally.count_said[bin] += p;
}

void report(const World& world, const Tally& tally) {
  const double n = tally.jobs;
  fmt::print("| {} | {} | {:.3f} | {:.3f} | {:.4f} | {:.3f} | {:.4f} | {:.1f} % | {} | {:.2f} s |\n",
             world.name, tally.jobs, tally.said / n, tally.met / n, tally.brier / n, tally.ideal_said / n,
             tally.ideal_brier / n, 100.0 * tally.inside / tally.readings, tally.unconverged,
             tally.seconds / n);
  for (std::size_t b = 0; b < 10; ++b)
    if (tally.count[b] > 0)
      fmt::print("    {:.1f}-{:.1f}: {} jobs, said {:.3f}, met {:.3f}\n", 0.1 * static_cast<double>(b),
                 0.1 * static_cast<double>(b + 1), tally.count[b], tally.count_said[b] / tally.count[b],
                 static_cast<double>(tally.count_met[b]) / tally.count[b]);
  std::fflush(stdout);
}

void study(const World& world, int jobs, std::uint64_t seed) {
  constexpr double scatter =
      0.08;  // per real component, of a plane's gain; half of it each coefficient's own
  constexpr int jobs_per_fleet = 50;
  Draws draws{boost::random::mt19937_64(seed)};
  Tally tally;
  std::optional<Prior> prior;
  Eigen::MatrixXcd type;
  for (int j = 0; j < jobs; ++j) {
    if (world.fleet == 0 || j % jobs_per_fleet == 0) type = random_type(world, draws);
    if (world.fleet > 0 && j % jobs_per_fleet == 0) prior = learned(world, type, scatter, draws);
    add_job(world, draws, type, scatter, prior ? &*prior : nullptr, tally);
  }
  report(world, tally);
}

}  // namespace

int main(int argc, char** argv) {
  const int jobs = argc > 1 ? std::atoi(argv[1]) : 300;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  const std::string only = argc > 3 ? argv[3] : "all";
  std::vector<World> worlds;
  for (const double left : {0.005, 0.02, 0.08}) {
    World world;
    world.left = left;
    const auto add = [&](const std::string& name, auto change) {
      World one = world;
      one.name = fmt::format("{}, d {:g} %", name, 100.0 * left);
      change(one);
      worlds.push_back(one);
    };
    add("noise stated", [](World&) {});
    add("noise not stated", [](World& w) { w.stated = false; });
    add("run-to-run twice the repeatability", [](World& w) { w.run_to_run = 2.0 * w.within; });
    add("own sd", [](World& w) { w.poor_readings = 0.25; });
    add("20 rows", [](World& w) { w.rows = 20; });
    add("one plane", [](World& w) { w.planes = 1; });
    add("three planes, 8 rows", [](World& w) { w.planes = 3, w.rows = 8; });
    add("fleet of 12", [](World& w) { w.fleet = 12; });
    add("fleet of 30", [](World& w) { w.fleet = 30; });
  }
  fmt::print(
      "| case | jobs | said | met | Brier | said, told all | Brier, told all | coverage | not converged | "
      "time |\n"
      "|---|---|---|---|---|---|---|---|---|---|\n");
  for (const auto& world : worlds)
    if (only == "all" || world.name.find(only) != std::string::npos) study(world, jobs, seed);
}

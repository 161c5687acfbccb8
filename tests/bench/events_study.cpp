// Engine runs until every reading meets its target where something happens in the middle of a trim: a table
// for docs/history.md.
//
//   events_study [rotors a world] [seed]
//
// Baseline and a trial run in each plane; then it happens; then corrections by least squares until the
// targets are met. Three ways: what happened is declared at the run after it; it is not, but what "ready"
// says of the newest run is done; it is ignored. Where the runs leave an event open, the run that is asked
// for is made (as found again).

#include <fmt/format.h>

#include <array>
#include <cstdlib>
#include <functional>
#include <optional>

#include "trimming.hpp"
#include "trimwright/check.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

constexpr int most_runs = 10;

enum class Way { declared, detected, ignored };

/// What happens to one rotor: to what is read, and to its baseline.
struct Happening {
  std::optional<Event> event;  ///< as it would be declared
  std::function<Phasor(const Reading&)> read = [](const Reading& r) { return *r.x; };
  Moments unbalance = Moments::Zero();
};

using World = std::function<Happening(FleetDraws&, const VirtualFleet&)>;

/// What "ready" says to write at the newest run, where it says anything.
std::optional<Event> told_by_ready(const Job& job) {
  Readiness found = readiness(job);
  compare_newest_run(job, found, nullptr);
  for (const auto& one : found.findings) {
    if (one.concern != ReadinessConcern::not_as_foretold) continue;
    const auto says = [&](const std::string& words) { return one.what.find(words) != std::string::npos; };
    if (says("{reference: moved}")) return Event{Event::Kind::reference_moved};
    if (says("{delay: changed}")) return Event{Event::Kind::delay_changed};
    if (says("{baseline: new}")) return Event{Event::Kind::baseline_new};
    if (says("{sensor: its name}"))
      return Event{Event::Kind::sensor_changed, says("sensor " + job.rotor.sensors[0].name + " ") ? 0u : 1u};
  }
  return std::nullopt;
}

struct Tally {
  int rotors = 0, met = 0, runs = 0, above_limit = 0, told = 0;
};

/// One more run; whether it meets the targets.
bool run_after(Bench& bench, const Happening& happened, const Moments& u) {
  bench.run(u);
  bool met = true;
  for (auto& reading : bench.runs.back().readings) {
    reading.x = happened.read(reading);
    reading.amplitude = std::abs(*reading.x);
    met = met && reading.amplitude <= target;
  }
  return met;
}

void trim(Bench bench, const Happening& happened, Way way, Tally& tally) {
  bench.run(Moments::Zero());
  for (int p = 0; p < 2; ++p) {
    Moments trial = Moments::Zero();
    trial(p) = bench.fleet.moment_worth(handbook_trial, p) * at_any_hole(bench.draws);
    bench.run(trial);
  }
  bench.rotor.x0 += bench.rotor.c * happened.unbalance;
  bool met = false, told = false, first = true;
  while (!met && bench.count() < most_runs) {
    const Job job = bench.job();
    const auto posterior = influence_posterior(job);
    Moments total = Moments::Zero();  // as found, where an event is left open
    if (posterior) {
      const auto now = fitted_moments(job, *posterior);
      total = bench.fleet.rounded(now + plain_correction(*posterior, now, true));
    }
    met = run_after(bench, happened, total);
    if (way == Way::declared && first && happened.event) bench.runs.back().before.push_back(*happened.event);
    if (way == Way::detected && !met)
      if (const auto event = told_by_ready(bench.job())) {
        bench.runs.back().before.push_back(*event);
        told = true;
      }
    first = false;
  }
  ++tally.rotors;
  tally.met += met;
  tally.runs += bench.count();
  tally.above_limit += bench.above_limit();
  tally.told += told;
}

void study(const std::string& name, const World& world, int rotors, std::uint64_t seed) {
  const VirtualFleet fleet;
  const std::array<std::pair<Way, const char*>, 3> ways{
      {{Way::declared, "declared"}, {Way::detected, "as ready says"}, {Way::ignored, "ignored"}}};
  std::array<Tally, 3> tallies;
  FleetDraws draws(seed);
  for (int r = 0; r < rotors; ++r) {
    const Happening happened = world(draws, fleet);
    const Bench bench{fleet,
                      fleet.draw({0.15, 0.08}, {}, draws),
                      {},
                      FleetDraws(seed + 7919u * static_cast<std::uint64_t>(r + 1)),
                      {}};
    for (std::size_t w = 0; w < ways.size(); ++w) trim(bench, happened, ways[w].first, tallies[w]);
  }
  for (std::size_t w = 0; w < ways.size(); ++w) {
    const Tally& one = tallies[w];
    fmt::print("| {} | {} | {:.2f} | {} of {} | {} | {} |\n", name, ways[w].second,
               static_cast<double>(one.runs) / one.rotors, one.met, one.rotors, one.above_limit,
               ways[w].first == Way::detected ? std::to_string(one.told) : "-");
    std::fflush(stdout);
  }
}

}  // namespace

int main(int argc, char** argv) {
  const int rotors = argc > 1 ? std::atoi(argv[1]) : 25;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  fmt::print(
      "| what happened | way | mean runs | targets met within {} runs | runs above a limit | something told "
      "|\n"
      "|---|---|---|---|---|---|\n",
      most_runs);
  study(
      "nothing", [](FleetDraws&, const VirtualFleet&) { return Happening{}; }, rotors, seed);
  study(
      "reference moved by some teeth of 44",
      [](FleetDraws& draws, const VirtualFleet&) {
        const Phasor by =
            std::polar(1.0, 2.0 * std::numbers::pi / 44.0 * (1.0 + std::floor(43.0 * draws.uniform())));
        Happening one{Event{Event::Kind::reference_moved}};
        one.read = [by](const Reading& r) { return *r.x * by; };
        return one;
      },
      rotors, seed + 1);
  study(
      "new baseline: some unbalance in both planes, each 0.3 in/s",
      [](FleetDraws& draws, const VirtualFleet& fleet) {
        Happening one{Event{Event::Kind::baseline_new}};
        for (int p = 0; p < 2; ++p)
          one.unbalance(p) =
              fleet.moment_worth(0.3, p) * std::polar(1.0, 2.0 * std::numbers::pi * draws.uniform());
        return one;
      },
      rotors, seed + 2);
  study(
      "one sensor reads 0.7 to 1.4 times as much, up to 30° more or less",
      [](FleetDraws& draws, const VirtualFleet&) {
        const Phasor by = std::polar(0.7 * std::pow(2.0, draws.uniform()),
                                     (2.0 * draws.uniform() - 1.0) * std::numbers::pi / 6.0);
        Happening one{Event{Event::Kind::sensor_changed, 1}};
        one.read = [by](const Reading& r) { return r.sensor == 1 ? *r.x * by : *r.x; };
        return one;
      },
      rotors, seed + 3);
}

// How often sound readings between trims raise an alarm, and how soon a change is found and as what it is
// told: two tables for docs/history.md.
//
//   trend_table [series] [seed]
//
// Rotors of the virtual fleet of the certainty study (ten rows): as found, two trial runs and a check run,
// then a reading a day; or the readings alone. Sound series are 200 days long. A change of half the target
// (0.15 in/s) happens on a random day of the first 60; looked for are the 60 days from the first on.

#include <fmt/format.h>

#include <cstdlib>

#include "trend/trend.hpp"
#include "virtual_fleet.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

struct World {
  const char* name;
  bool trim = true;
  double times = 1.0;  ///< scatter from day to day over what is stated
  bool stated = true;
  double outliers = 0.0;  ///< share of readings that are off by 0.2 in/s rms
};

enum class Change { none, moment, turn, sensor, one_row };

/// A trim and `days` readings after it, changed from day `from` on.
TrendInput series(const World& world, Change change, int days, int from, FleetDraws& draws) {
  const VirtualFleet fleet;
  FleetNoise noise;
  const FleetRotor rotor = fleet.draw({0.2, 0.1}, noise, draws);
  const Eigen::Vector2cd none(0.0, 0.0);
  const Eigen::Vector2cd a(fleet.moment_worth(0.6, 0), 0.0), b(0.0, fleet.moment_worth(0.6, 1));
  const Eigen::Vector2cd now(fleet.moment_worth(0.3, 0), fleet.moment_worth(0.2, 1));
  TrendInput input;
  std::vector<Run> runs{fleet.run(rotor, "as found", none, noise, draws),
                        fleet.run(rotor, "A", a, noise, draws), fleet.run(rotor, "B", b, noise, draws),
                        fleet.run(rotor, "check", now, noise, draws)};
  input.job = fleet.job(runs);
  if (!world.stated)
    for (auto& sensor : input.job.rotor.sensors) sensor.repeatability = sensor.run_to_run = {};
  if (world.trim) {
    input.trim = "the trim";
    input.since = "2031-01-01 08:00";
  } else {
    input.job.runs.clear();
    input.job.places.clear();
    input.job.speeds_rpm.clear();
  }
  noise.reading *= world.times;
  noise.run *= world.times;
  noise.outlier_share = world.outliers;
  const int plane = draws.uniform() < 0.5 ? 0 : 1;
  const double worth = 0.15 / rotor.c.col(plane).cwiseAbs().maxCoeff();
  Eigen::Vector2cd moved = now;
  moved(plane) += std::polar(worth, 6.28 * draws.uniform());
  const auto row = static_cast<std::size_t>(10.0 * draws.uniform());
  const Phasor off = std::polar(0.15, 6.28 * draws.uniform());
  for (int day = 0; day < days; ++day) {
    const bool changed = day >= from;
    Run run = fleet.run(rotor, "", changed && change == Change::moment ? moved : now, noise, draws);
    run.name = fmt::format("{:04}", day);
    for (std::size_t i = 0; i < run.readings.size() && changed; ++i) {
      Phasor& x = *run.readings[i].x;
      if (change == Change::turn) x *= std::polar(1.0, 0.6);
      if (change == Change::sensor && run.readings[i].sensor == 1) x *= 1.5;
      if (change == Change::one_row && i == row) x += off;
      run.readings[i].amplitude = std::abs(x);
    }
    input.dates.push_back(std::move(run));
  }
  return input;
}

int day_of(const std::string& name) { return std::atoi(name.c_str()); }

void sound(const World& world, int count, std::uint64_t seed) {
  FleetDraws draws(seed);
  int alarmed = 0, judged = 0;
  for (int k = 0; k < count; ++k) {
    const auto spell = trend_spell(series(world, Change::none, 200, 200, draws));
    if (!spell) continue;
    ++judged;
    alarmed += spell->changes.empty() ? 0 : 1;
  }
  fmt::print("| {} | {} | {} |\n", world.name, judged, alarmed);
  std::fflush(stdout);
}

void found(const char* name, const World& world, Change change, MistakeKind cause, int count,
           std::uint64_t seed) {
  FleetDraws draws(seed);
  int soon = 0, dated = 0, told = 0, before = 0;
  for (int k = 0; k < count; ++k) {
    const int from = 3 + static_cast<int>(57.0 * draws.uniform());
    const auto spell = trend_spell(series(world, change, from + 10, from, draws));
    if (!spell || spell->changes.empty()) continue;
    const TrendChange& first = spell->changes.front();
    const int day = day_of(first.found);
    before += day < from ? 1 : 0;
    soon += day >= from && day < from + 3 ? 1 : 0;
    dated += day_of(first.first) == from ? 1 : 0;
    told += day >= from && first.cause == cause ? 1 : 0;
  }
  fmt::print("| {} | {} | {} | {} | {} | {} | {} |\n", name, world.trim ? "after a trim" : "readings alone",
             count, soon, dated, told, before);
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int count = argc > 1 ? std::atoi(argv[1]) : 100;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  fmt::print("| sound readings | series of 200 | alarms |\n|---|---|---|\n");
  const World worlds[] = {{"after a trim, scatter as stated", true},
                          {"after a trim, 1.5 times as much", true, 1.5},
                          {"after a trim, twice as much", true, 2.0},
                          {"after a trim, nothing stated", true, 1.0, false},
                          {"readings alone, scatter as stated", false},
                          {"readings alone, twice as much", false, 2.0},
                          {"readings alone, nothing stated", false, 1.0, false}};
  for (const auto& world : worlds) sound(world, count, seed);
  fmt::print(
      "\n| change | | series | found within 3 | dated to the day | told as what it is | alarm before |\n"
      "|---|---|---|---|---|---|---|\n");
  for (const bool trim : {true, false}) {
    const World world{"", trim};
    using enum MistakeKind;
    found("a moment in one plane, half the target", world, Change::moment, rotor_changed, count, seed + 1);
    found("one place, half the target", world, Change::one_row, none_of_these, count, seed + 2);
    found("every phase turned by 34°", world, Change::turn, reference_shifted, count, seed + 3);
    found("one sensor reads 1.5 times as much", world, Change::sensor, sensor_changed, count, seed + 4);
  }
}

// Is a prior in two levels as sure as it says? Virtual rotors of one type, each visited several times; a
// prior from some trims of others and some of its own; its coefficients of today against what they are. A
// table for docs/certainty.md.
//
//   levels_table [rotors a row] [seed]

#include <fmt/format.h>

#include <cstdlib>

#include "trimwright/influence.hpp"
#include "virtual_fleet.hpp"

namespace {

using namespace trimwright;
using namespace trimwright::testing;

constexpr FleetSpread between_rotors{0.15, 0.08};
constexpr double between_visits = 0.05;  // common to a plane, and half of it of each coefficient's own

FleetRotor visited(const FleetRotor& rotor, FleetDraws& draws) {
  FleetRotor now = rotor;
  for (Eigen::Index p = 0; p < 2; ++p) {
    const Phasor common = draws.complex(between_visits);
    for (Eigen::Index i = 0; i < now.c.rows(); ++i)
      now.c(i, p) *= 1.0 + common + draws.complex(0.5 * between_visits);
  }
  return now;
}

FleetJob job_of_visit(const VirtualFleet& fleet, const FleetRotor& now, const std::string& serial,
                      const std::string& name, bool trials, FleetDraws& draws) {
  std::vector<Run> runs{fleet.run(now, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
  for (int p = 0; trials && p < 2; ++p) {
    Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
    trial(p) = std::polar(fleet.moment_worth(0.5, p), 2.0 * std::numbers::pi * draws.uniform());
    runs.push_back(fleet.run(now, "trial " + std::to_string(p), trial, {}, draws));
  }
  FleetJob made{fleet.job(runs), name};
  made.job.serial = serial;
  return made;
}

void row(int others, int visits_each, int own, int rotors, std::uint64_t seed) {
  const VirtualFleet fleet;
  FleetDraws draws(seed);
  double said = 0.0, off = 0.0, shares = 0.0;
  int within = 0, all = 0;
  for (int r = 0; r < rotors; ++r) {
    std::vector<FleetJob> jobs;
    for (int o = 0; o < others; ++o) {
      const FleetRotor other = fleet.draw(between_rotors, {}, draws);
      for (int v = 0; v < visits_each; ++v)
        jobs.push_back(job_of_visit(fleet, visited(other, draws), "other " + std::to_string(o),
                                    fmt::format("{}/{}", o, v), true, draws));
    }
    const FleetRotor rotor = fleet.draw(between_rotors, {}, draws);
    for (int v = 0; v < own; ++v)
      jobs.push_back(
          job_of_visit(fleet, visited(rotor, draws), "mine", fmt::format("own {}", v), true, draws));
    const FleetRotor now = visited(rotor, draws);
    const auto prior = prior_for(job_of_visit(fleet, now, "mine", "now", false, draws).job, jobs);
    if (!prior) {
      fmt::print(stderr, "levels_table: {}\n", prior.error().message());
      continue;
    }
    const Eigen::VectorXd variance = relative_covariance(*prior).diagonal();
    const double reach = interval_factor(0.9, scatter_degrees_of_freedom(*prior));
    shares += prior->levels->own_share();
    for (std::size_t i = 0; i < prior->coefficients.size(); ++i) {
      const Phasor relative = now.c(static_cast<Eigen::Index>(i / 2), static_cast<Eigen::Index>(i % 2)) /
                                  prior->coefficients[i].mean -
                              1.0;
      for (const auto& [part, value] : {std::pair(0, relative.real()), std::pair(1, relative.imag())}) {
        const double v = variance(2 * static_cast<Eigen::Index>(i) + part);
        said += v;
        off += value * value;
        within += std::abs(value) <= reach * std::sqrt(v);
        ++all;
      }
    }
  }
  fmt::print("| {} | {} | {} | {:.0f} % | {:.1f} % | {:.1f} % | {:.1f} % |\n", others, visits_each, own,
             100.0 * shares / rotors, 100.0 * std::sqrt(said / all), 100.0 * std::sqrt(off / all),
             100.0 * within / all);
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int rotors = argc > 1 ? std::atoi(argv[1]) : 40;
  auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
  fmt::print(
      "| other rotors | trims of each | own trims | own share | ± said | error | coverage of 90 % |\n"
      "|---|---|---|---|---|---|---|\n");
  for (const auto& [others, each, own] :
       {std::tuple(0, 1, 1), std::tuple(0, 1, 2), std::tuple(1, 1, 0), std::tuple(1, 1, 1),
        std::tuple(2, 1, 0), std::tuple(6, 1, 0), std::tuple(6, 1, 1), std::tuple(6, 1, 2),
        std::tuple(6, 2, 1), std::tuple(12, 1, 1)})
    row(others, each, own, rotors, seed++);
}

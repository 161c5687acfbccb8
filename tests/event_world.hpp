#pragma once

#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "cancelling_world.hpp"
#include "virtual_fleet.hpp"

namespace trimwright::testing {

/// Two planes, two sensors, at 1500 and 3000 rpm: what the runs of a known rotor read.
struct TwoSpeeds {
  Rotor rotor = free_rotor({"front", "rear"}, {"A", "B"}, PhaseConvention::lead);
  double repeatability = 0.01;

  TwoSpeeds() {
    for (auto& sensor : rotor.sensors) sensor.repeatability = repeatability, sensor.run_to_run = 0.0;
    rotor.reference.teeth = 44;
  }

  [[nodiscard]] Run run(const std::string& name, std::vector<FittedWeights> fitted, Draws* noise = nullptr,
                        Phasor moved = 0.0) const {
    const Phasor x0[] = {{0.5, 0.2}, {-0.3, 0.4}, {0.7, -0.1}, {0.2, 0.6}};
    const Phasor c[][2] = {{{1e-3, 0}, {2e-4, 5e-4}},
                           {{4e-4, 6e-4}, {-8e-4, 3e-4}},
                           {{1.4e-3, 4e-4}, {0, 9e-4}},
                           {{3e-4, 8e-4}, {-1.2e-3, 1e-4}}};
    Run run;
    run.name = name;
    run.fitted = std::move(fitted);
    for (std::size_t i = 0; i < 4; ++i) {
      Reading reading;
      reading.speed = i / 2;
      reading.rpm = i < 2 ? 1500.0 : 3000.0;
      reading.sensor = i % 2;
      Phasor x = x0[i] + moved * (1.0 + static_cast<double>(i));
      for (std::size_t p = 0; p < 2; ++p) x += c[i][p] * total_moment(rotor.planes[p], run.fitted[p]);
      if (noise != nullptr) x += noise->normal(repeatability);
      reading.x = x;
      reading.amplitude = std::abs(x);
      run.readings.push_back(reading);
    }
    return run;
  }
};

/// Readings of a run turned and scaled: `by(rpm, sensor)`.
template <class By>
Run changed(Run run, By by) {
  for (auto& reading : run.readings) {
    reading.x = *reading.x * by(reading.rpm, reading.sensor);
    reading.amplitude = std::abs(*reading.x);
  }
  return run;
}

inline Run after(Run run, Event event) {
  run.before.push_back(std::move(event));
  return run;
}

inline std::vector<FittedWeights> none() { return {{}, {}}; }
inline std::vector<FittedWeights> front_fitted() { return {free_at(300.0, 40.0), {}}; }
inline std::vector<FittedWeights> rear_fitted() { return {{}, free_at(300.0, 200.0)}; }

inline Phasor at_angle(double degrees) { return std::polar(1.0, radians(degrees)); }

/// As found, front, what happened, as found again, rear; the last two changed by `by`.
template <class By>
Job changed_after_two(const Event& event, By by, Draws* noise = nullptr, Phasor moved = 0.0) {
  const TwoSpeeds world;
  return job_of(world.rotor, {world.run("as found", none(), noise), world.run("front", front_fitted(), noise),
                              after(changed(world.run("again", none(), noise, moved), by), event),
                              changed(world.run("rear", rear_fitted(), noise, moved), by)});
}

using Change = std::function<Phasor(const Reading&)>;

/// As found, a trial in each plane, as found again; the readings of the last as `change` makes them.
inline Job with_last(std::uint64_t seed, const Change& change, Phasor moment = 0.0, bool trials = true) {
  const VirtualFleet fleet;
  FleetDraws draws(seed);
  const FleetRotor rotor = fleet.draw({}, {}, draws);
  std::vector<Run> runs{fleet.run(rotor, "as found", Eigen::Vector2cd::Zero(), {}, draws)};
  for (int p = 0; trials && p < 2; ++p) {
    Eigen::Vector2cd trial = Eigen::Vector2cd::Zero();
    trial(p) = fleet.moment_worth(0.5, p);
    runs.push_back(fleet.run(rotor, "trial " + std::to_string(p), trial, {}, draws));
  }
  Run again = fleet.run(rotor, "again", Eigen::Vector2cd(0.0, moment), {}, draws);
  again.fitted = runs.front().fitted;
  for (auto& reading : again.readings) {
    reading.x = change(reading);
    reading.amplitude = std::abs(*reading.x);
  }
  runs.push_back(again);
  Job job = fleet.job(runs);
  job.rotor.reference.teeth = 44;
  return job;
}

}  // namespace trimwright::testing

#pragma once

#include <stdexcept>
#include <string>
#include <vector>

#include "trimwright/job.hpp"

namespace trimwright::testing {

/// A rotor with planes that take moments at any angle, and displacement sensors in mil peak with a limit
/// of 1.
inline Rotor free_rotor(const std::vector<std::string>& planes, const std::vector<std::string>& sensors,
                        PhaseConvention phase = PhaseConvention::lag) {
  Rotor rotor;
  rotor.name = "test rotor";
  rotor.phase = phase;
  for (const auto& name : planes) {
    Plane plane;
    plane.name = name;
    rotor.planes.push_back(plane);
  }
  for (const auto& name : sensors) {
    Sensor sensor;
    sensor.name = name;
    sensor.unit = *parse_vibration_unit("mil peak");
    sensor.phase_of = MotionQuantity::displacement;
    sensor.bands.push_back({10000.0, 1.0, {}});
    rotor.sensors.push_back(sensor);
  }
  return rotor;
}

/// A plane with `count` slots numbered with rotation from angle 0 and weights w1, w2, ... of the given
/// moments.
inline Plane slotted_plane(const std::string& name, int count, const std::vector<double>& moments) {
  Plane plane;
  plane.name = name;
  plane.slots = SlotRing{count, RotorAngle{}, {}, Direction::with_rotation, {}};
  for (std::size_t i = 0; i < moments.size(); ++i) {
    Weight weight;
    weight.id = "w" + std::to_string(i + 1);
    weight.moment_g_mm = moments[i];
    plane.weights.push_back(weight);
  }
  return plane;
}

/// A moment at an angle (with rotation), in no slot.
inline FittedWeights free_at(double moment_g_mm, double degrees) {
  return {{}, {{moment_g_mm, RotorAngle::from_degrees(degrees)}}};
}

/// One reading as shown: amplitude and phase in the rotor's convention.
struct Shown {
  double amplitude;
  double phase_deg;
};

inline Reading reading_of(const Rotor& rotor, std::size_t sensor, const Shown& shown, std::size_t speed = 0,
                          double rpm = 3000.0) {
  Reading reading;
  reading.speed = speed;
  reading.rpm = rpm;
  reading.sensor = sensor;
  reading.amplitude = rotor.sensors[sensor].unit.peak_from_shown(shown.amplitude);
  reading.phase_factor = rotor.sensors[sensor].phase_factor();
  reading.x = from_shown(rotor.sensors[sensor], {shown.amplitude, shown.phase_deg}, rotor.phase);
  return reading;
}

/// A run at one speed with one reading per sensor, and free pieces: one entry per plane.
inline Run run_of(const Rotor& rotor, const std::string& name,
                  const std::vector<std::vector<FreePiece>>& free, const std::vector<Shown>& readings) {
  Run run;
  run.name = name;
  run.fitted.resize(rotor.planes.size());
  for (std::size_t p = 0; p < free.size(); ++p) run.fitted[p].free = free[p];
  for (std::size_t s = 0; s < readings.size(); ++s) run.readings.push_back(reading_of(rotor, s, readings[s]));
  return run;
}

/// The job with its speed points and places settled; again, where limits or readings were changed.
inline Job settled(Job job, const std::vector<SetSpeed>& set = {}) {
  if (const auto done = settle_places(job, set); !done) throw std::runtime_error(done.error().message());
  return job;
}

inline Job job_of(const Rotor& rotor, const std::vector<Run>& runs) {
  Job job;
  job.rotor = rotor;
  job.runs = runs;
  job.fitted_now = runs.front().fitted;
  return settled(std::move(job));
}

/// Noise-free runs of a known linear rotor: readings x = x0 + sum C_p U_p per sensor, at one speed.
struct KnownRotor {
  std::vector<Phasor> x0;              ///< per sensor
  std::vector<std::vector<Phasor>> c;  ///< per sensor and plane

  [[nodiscard]] Run run(const Rotor& rotor, const std::string& name,
                        std::vector<FittedWeights> fitted) const {
    Run run;
    run.name = name;
    run.fitted = std::move(fitted);
    for (std::size_t s = 0; s < x0.size(); ++s) {
      Reading reading;
      reading.rpm = 3000.0;
      reading.sensor = s;
      Phasor x = x0[s];
      for (std::size_t p = 0; p < rotor.planes.size(); ++p)
        x += c[s][p] * total_moment(rotor.planes[p], run.fitted[p]);
      reading.x = x;
      reading.amplitude = std::abs(x);
      run.readings.push_back(reading);
    }
    return run;
  }
};

/// One sensor and one plane: it reads 0.5 + 1e-3 U.
inline KnownRotor single_plane_rotor() { return {{Phasor(0.5, 0.0)}, {{Phasor(1e-3, 0.0)}}}; }

/// `single_plane_rotor` of 100 kg with 8 slots and weights of `moments`; one run, with nothing fitted.
inline Job slotted_job(const std::vector<double>& moments) {
  Rotor rotor = free_rotor({}, {"A"});
  rotor.mass_kg = 100.0;
  rotor.planes.push_back(slotted_plane("spinner", 8, moments));
  return job_of(rotor, {single_plane_rotor().run(rotor, "baseline", {{}})});
}

/// The same after a second run with w1 in slot 1, which is taken out again.
inline Job slotted_job_with_trial(const std::vector<double>& moments) {
  Job job = slotted_job(moments);
  FittedWeights trial;
  trial.slots[1] = {"w1", moments[0]};
  job.runs.push_back(single_plane_rotor().run(job.rotor, "trial", {trial}));
  return job;
}

/// An overall level at the place of the run's first reading.
inline void add_overall(Run& run, double amplitude) {
  Reading overall = run.readings[0];
  overall.component = Component::overall;
  overall.x.reset();
  overall.amplitude = amplitude;
  run.readings.push_back(overall);
}

}  // namespace trimwright::testing

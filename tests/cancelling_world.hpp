#pragma once

#include <Eigen/Core>
#include <array>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>
#include <numbers>
#include <stdexcept>
#include <string>
#include <vector>

#include "job_builder.hpp"

namespace trimwright::testing {

/// What rotors and readings are like.
struct World {
  std::string name;
  int planes = 2, rows = 6;
  double within = 0.015, run_to_run = 0.015, proportional = 0.0;
  double left = 0.02;          ///< of the limit, per real component
  bool stated = true;          ///< noise
  double poor_readings = 0.0;  ///< share of readings with an own sd, four times as large
  int fleet = 0;               ///< jobs that a prior is learned from
};

struct Draws {
  boost::random::mt19937_64 generator;
  boost::random::normal_distribution<double> gaussian{};
  boost::random::uniform_01<double> flat{};
  double uniform() { return flat(generator); }
  Phasor normal(double sd) {
    const double re = gaussian(generator);
    return sd * Phasor(re, gaussian(generator));
  }
};

inline Rotor rotor_of(const World& world, bool stated) {
  std::vector<std::string> names;
  for (int p = 0; p < world.planes; ++p) names.push_back("plane " + std::to_string(p + 1));
  Rotor rotor = free_rotor(names, {"A", "B"}, PhaseConvention::lead);
  for (auto& sensor : rotor.sensors) {
    sensor.bands = {{10000.0, 1.0, 0.2}};
    sensor.proportional = world.proportional;
    if (!stated) continue;
    sensor.repeatability = world.within;
    sensor.run_to_run = world.run_to_run;
  }
  rotor.speed_tolerance_rpm = 1.0;
  return rotor;
}

/// A rotor whose vibration weights can cancel but for a small rest, X0 = -C V + d, and what its runs read.
struct CancellingRotor {
  const World& world;
  Draws& draws;
  Eigen::VectorXcd x0;
  Eigen::MatrixXcd c;
  Job job;

  CancellingRotor(const World& w, Draws& d, const Eigen::MatrixXcd& type, double scatter)
      : world(w), draws(d), c(type) {
    for (Eigen::Index p = 0; p < c.cols(); ++p) {
      const Phasor gain = draws.normal(scatter);
      for (Eigen::Index i = 0; i < c.rows(); ++i) c(i, p) *= 1.0 + gain + draws.normal(0.5 * scatter);
    }
    Eigen::VectorXcd v(c.cols());
    for (auto& one : v) one = draws.normal(1.0);
    x0 = -c * v;
    x0 *= (0.7 + 0.6 * draws.uniform()) / x0.cwiseAbs().maxCoeff();
    for (auto& one : x0) one += draws.normal(world.left);
    job.rotor = rotor_of(world, world.stated);
    for (int s = 0; s < (world.rows + 1) / 2; ++s) job.speeds_rpm.push_back(2000.0 + 200.0 * s);
  }

  Run run(const Eigen::VectorXcd& u) {
    Run run;
    run.name = "run " + std::to_string(job.runs.size() + 1);
    run.fitted.resize(static_cast<std::size_t>(c.cols()));
    for (Eigen::Index p = 0; p < c.cols(); ++p)
      if (u(p) != 0.0)
        run.fitted[static_cast<std::size_t>(p)].free.push_back({std::abs(u(p)), RotorAngle::of(u(p))});
    const std::array<Phasor, 2> change{draws.normal(world.run_to_run), draws.normal(world.run_to_run)};
    for (Eigen::Index i = 0; i < c.rows(); ++i) {
      const Phasor truth = x0(i) + (c.row(i) * u).value();
      Reading reading;
      reading.speed = static_cast<std::size_t>(i / 2);
      reading.rpm = job.speeds_rpm[reading.speed];
      reading.sensor = static_cast<std::size_t>(i % 2);
      double sd = world.within;
      if (draws.uniform() < world.poor_readings) reading.repeatability = sd *= 4.0;
      reading.x =
          truth + change[reading.sensor] + draws.normal(std::hypot(sd, world.proportional * std::abs(truth)));
      reading.amplitude = std::abs(*reading.x);
      run.readings.push_back(reading);
    }
    return run;
  }

  /// A baseline run twice, and a trial run in each plane between.
  void usual_runs() {
    const Eigen::VectorXcd nothing = Eigen::VectorXcd::Zero(c.cols());
    job.runs = {run(nothing)};
    for (Eigen::Index p = 0; p < c.cols(); ++p) {
      Eigen::VectorXcd u = nothing;
      u(p) = std::polar(0.4 / c.col(p).cwiseAbs().maxCoeff(), 2.0 * std::numbers::pi * draws.uniform());
      job.runs.push_back(run(u));
    }
    job.runs.push_back(run(nothing));
    job.fitted_now = job.runs.back().fitted;
    if (!settle_places(job)) throw std::runtime_error("places");
  }

  /// The trial runs once more, at other angles: then the runs can tell lag from lead.
  void usual_runs_again() {
    const auto first = std::move(job.runs);
    usual_runs();
    for (auto& one : job.runs) one.name += " again";
    job.runs.insert(job.runs.begin(), first.begin(), first.end());
  }
};

inline Eigen::MatrixXcd random_type(const World& world, Draws& draws) {
  Eigen::MatrixXcd c(world.rows, world.planes);
  for (Eigen::Index i = 0; i < c.rows(); ++i)
    for (Eigen::Index p = 0; p < c.cols(); ++p)
      c(i, p) = 1e-3 * (draws.normal(0.7) + std::polar(0.3, 1.0 * static_cast<double>(p)));
  return c;
}

}  // namespace trimwright::testing

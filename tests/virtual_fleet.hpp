#pragma once

#include <Eigen/Core>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "job_builder.hpp"

namespace trimwright::testing {

/// How far rotors of the type differ, relative rms of complex gains: `common` to a plane, `own` to each
/// coefficient; `critical`: standard deviation of all critical speeds together, relative.
struct FleetSpread {
  double common = 0.0;
  double own = 0.0;
  double critical = 0.0;
};

/// What readings suffer [in/s, complex rms, and shares].
struct FleetNoise {
  double reading = 0.02;
  double run = 0.03;           ///< one value for a run's readings of one sensor
  bool run_is_common = true;   ///< false: one value for each reading instead
  double unexplained = 0.04;   ///< once-per-rev vibration of a rotor that no weight explains
  double outlier_share = 0.0;  ///< of readings
  double outlier = 0.2;
  double drift = 0.0;  ///< of each coefficient from run to run, relative rms
};

/// Draws of one stream; `complex(rms)` has E|z|^2 = rms^2.
class FleetDraws {
 public:
  explicit FleetDraws(std::uint64_t seed) : generator_(seed) {}
  double uniform() { return uniform_(generator_); }
  Phasor complex(double rms) {
    const double re = gaussian_(generator_), im = gaussian_(generator_);
    return rms / std::numbers::sqrt2 * Phasor(re, im);
  }

 private:
  boost::random::mt19937_64 generator_;
  boost::random::normal_distribution<double> gaussian_;
  boost::random::uniform_01<double> uniform_;
};

/// One rotor of the type.
struct FleetRotor {
  Eigen::VectorXcd x0;  ///< as found, slots empty [in/s peak]
  Eigen::MatrixXcd c;   ///< rows x planes [in/s per g mm]
};

/// A rotor type: two planes, five speeds from 55 % to 95 %, two sensors, a damped critical speed at 62 % and
/// a second one above the range. Rows by speed, then sensor.
class VirtualFleet {
 public:
  static constexpr double full_rpm = 5000.0;

  VirtualFleet() : rotor_(free_rotor({"front", "rear"}, {"A", "B"}, PhaseConvention::lead)) {
    const FleetNoise noise;
    for (auto& sensor : rotor_.sensors) {
      sensor.unit = *parse_vibration_unit("in/s peak");
      sensor.phase_of = MotionQuantity::velocity;
      sensor.bands = {{6000.0, 2.0, 0.3}};
      sensor.repeatability = noise.reading / std::numbers::sqrt2;
      sensor.run_to_run = noise.run / std::numbers::sqrt2;
    }
    rotor_.speed_tolerance_rpm = 25.0;
    for (const double share : {0.55, 0.65, 0.75, 0.85, 0.95}) speeds_.push_back(share * full_rpm);
    c_ = coefficients(1.0);
  }

  [[nodiscard]] Eigen::Index rows() const { return 2 * static_cast<Eigen::Index>(speeds_.size()); }
  [[nodiscard]] const Rotor& rotor() const { return rotor_; }
  [[nodiscard]] const Eigen::MatrixXcd& coefficients() const { return c_; }

  [[nodiscard]] FleetRotor draw(const FleetSpread& spread, const FleetNoise& noise, FleetDraws& draws) const {
    FleetRotor one{Eigen::VectorXcd(rows()), c_};
    if (spread.critical > 0.0)
      one.c = coefficients(1.0 + std::numbers::sqrt2 * draws.complex(spread.critical).real());
    for (int p = 0; p < 2; ++p) {
      const Phasor gain = draws.complex(spread.common);
      for (Eigen::Index i = 0; i < rows(); ++i) one.c(i, p) *= 1.0 + gain + draws.complex(spread.own);
    }
    Eigen::Vector2cd unbalance(draws.complex(1.0), draws.complex(1.0));
    one.x0 = one.c * unbalance;
    one.x0 *= 1.2 * (0.8 + 0.4 * draws.uniform()) / one.x0.cwiseAbs().maxCoeff();
    for (Eigen::Index i = 0; i < rows(); ++i) one.x0(i) += draws.complex(noise.unexplained);
    return one;
  }

  /// A run with moments `u` in the two planes.
  /// A baseline, then weights worth half a limit in one plane after the other, at an angle of their own.
  [[nodiscard]] std::vector<Run> runs(const FleetRotor& one, int count, FleetDraws& draws) const {
    std::vector<Run> all;
    for (int r = 0; r < count; ++r) {
      Eigen::Vector2cd u = Eigen::Vector2cd::Zero();
      if (r > 0) u(r % 2) = std::polar(moment_worth(0.5, r % 2), 1.0 * r);
      all.push_back(run(one, std::to_string(r), u, {}, draws));
    }
    return all;
  }

  [[nodiscard]] Run run(const FleetRotor& one, const std::string& name, const Eigen::Vector2cd& u,
                        const FleetNoise& noise, FleetDraws& draws) const {
    Run run;
    run.name = name;
    run.fitted.resize(2);
    for (int p = 0; p < 2; ++p)
      if (u(p) != 0.0)
        run.fitted[static_cast<std::size_t>(p)].free.push_back({std::abs(u(p)), RotorAngle::of(u(p))});
    const Phasor change[] = {draws.complex(noise.run), draws.complex(noise.run)};
    for (Eigen::Index i = 0; i < rows(); ++i) {
      Phasor x = one.x0(i) + draws.complex(noise.reading);
      for (int p = 0; p < 2; ++p) x += one.c(i, p) * (1.0 + draws.complex(noise.drift)) * u(p);
      x += noise.run_is_common ? change[i % 2] : draws.complex(noise.run);
      if (draws.uniform() < noise.outlier_share) x += draws.complex(noise.outlier);
      Reading reading;
      reading.speed = static_cast<std::size_t>(i / 2);
      reading.rpm = speeds_[reading.speed];
      reading.sensor = static_cast<std::size_t>(i % 2);
      reading.x = x;
      reading.amplitude = std::abs(x);
      run.readings.push_back(reading);
    }
    return run;
  }

  [[nodiscard]] Job job(const std::vector<Run>& runs) const {
    Job job;
    job.rotor = rotor_;
    job.runs = runs;
    job.fitted_now = runs.back().fitted;
    return settled(std::move(job));
  }

  /// Moment in plane `p` whose effect on its most sensitive row is `effect` [in/s] on the type.
  [[nodiscard]] double moment_worth(double effect, int p) const {
    return effect / c_.col(p).cwiseAbs().maxCoeff();
  }

  /// Moments as pieces of the catalogue in the two of 36 holes beside the wanted angle make them: the steps
  /// of the catalogue cost at most 0.01 in/s a plane.
  [[nodiscard]] Eigen::Vector2cd rounded(const Eigen::Vector2cd& wanted) const {
    Eigen::Vector2cd made;
    for (int p = 0; p < 2; ++p) made(p) = rounded(wanted(p), moment_worth(0.01, p));
    return made;
  }

 private:
  /// With all critical speeds `stretch` times the type's.
  [[nodiscard]] Eigen::MatrixXcd coefficients(double stretch) const {
    Eigen::MatrixXcd c(rows(), 2);
    for (Eigen::Index i = 0; i < rows(); ++i)
      for (int p = 0; p < 2; ++p)
        c(i, p) = response(speeds_[static_cast<std::size_t>(i / 2)], i % 2, p, stretch);
    return c;
  }

  static Phasor rounded(Phasor wanted, double step) {
    const double pitch = 2.0 * std::numbers::pi / 36.0;
    const double slot = std::floor(std::arg(wanted) / pitch);
    const Phasor a = std::polar(1.0, slot * pitch), b = std::polar(1.0, (slot + 1.0) * pitch);
    const double cross = std::imag(std::conj(a) * b);
    const double in_a = std::imag(std::conj(wanted) * b) / cross,
                 in_b = std::imag(std::conj(a) * wanted) / cross;
    return step * (std::round(in_a / step) * a + std::round(in_b / step) * b);
  }

  /// Velocity at a sensor for 1 g mm in a plane: two modes.
  static Phasor response(double rpm, Eigen::Index sensor, int plane, double stretch) {
    struct Mode {
      double rpm, damping, planes[2], sensors[2];
    };
    constexpr Mode modes[] = {{0.62 * full_rpm, 0.08, {1.0, 0.45}, {1.0, 0.6}},
                              {1.15 * full_rpm, 0.05, {0.5, -1.0}, {0.6, -1.0}}};
    Phasor x = 0.0;
    for (const Mode& mode : modes) {
      const double r = rpm / (stretch * mode.rpm);
      x += mode.planes[plane] * mode.sensors[sensor] * r * r / Phasor(1.0 - r * r, 2.0 * mode.damping * r);
    }
    return 1e-5 * (rpm / full_rpm) * Phasor(0.0, 1.0) * x;
  }

  Rotor rotor_;
  std::vector<double> speeds_;
  Eigen::MatrixXcd c_;
};

}  // namespace trimwright::testing

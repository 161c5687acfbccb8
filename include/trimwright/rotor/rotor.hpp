#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/phasor.hpp"
#include "trimwright/rotor/plane.hpp"
#include "trimwright/rotor/rotation.hpp"
#include "trimwright/rotor/sensor.hpp"

namespace trimwright {

/// The ring that gives the phase reference.
struct ReferenceRing {
  int teeth = 1;
  int larger_tooth = 1;
  std::optional<double> larger_size;   ///< pulse size of the larger tooth over that of the others
  std::optional<double> larger_width;  ///< its pulse width over that of the others
  bool falling = true;                 ///< slope of the pickup's zero crossing as the tooth's centre passes
  std::string mark;  ///< the mark on the rotor that angles start from; empty: the larger tooth
};

/// What is being balanced, and every convention its numbers are written in.
struct Rotor {
  std::string name;
  SeenSense rotation;
  PhaseConvention phase = PhaseConvention::unknown;
  std::optional<double> speed_100_rpm;  ///< what 100 % of speed is
  double speed_tolerance_rpm = 0.0;     ///< readings this close belong to one speed point
  std::optional<double> mass_kg;
  ReferenceRing reference;
  std::optional<BladeRow> blades;
  std::vector<Plane> planes;
  std::vector<Sensor> sensors;

  [[nodiscard]] std::optional<std::size_t> plane_named(const std::string& name) const;
  [[nodiscard]] std::optional<std::size_t> sensor_named(const std::string& name) const;
};

/// "3174 rpm (62 %)", or "3174 rpm" where no 100 % is declared.
[[nodiscard]] std::string speed_words(const Rotor& rotor, double rpm);
/// "62 %", or "3174" where no 100 % is declared: for drawings.
[[nodiscard]] std::string short_speed_words(const Rotor& rotor, double rpm);

/// A position the three ways people ask for it.
struct Position {
  std::optional<int> slot;
  RotorAngle angle;
  std::string blade;  ///< empty when the rotor has no blades declared

  /// "slot 7, 63.0° with rotation, between blades 4 and 5".
  [[nodiscard]] std::string text() const;
};

[[nodiscard]] Position slot_position(const Rotor& rotor, const Plane& plane, int slot);
[[nodiscard]] Position angle_position(const Rotor& rotor, RotorAngle angle);

/// Permissible residual specific unbalance e_per = G / Omega [g mm/kg] of ISO 21940-11:2016 for a rotor with
/// rigid behaviour in a balancing machine: `grade` is e_per Omega in mm/s, `rpm` the service speed.
/// A reference for the shop, never an acceptance limit on wing.
[[nodiscard]] double permissible_specific_unbalance(double grade, double rpm);

/// The balance quality grades of ISO 21940-11 [mm/s], from the coarsest to the finest.
[[nodiscard]] const std::vector<double>& balance_quality_grades();

}  // namespace trimwright

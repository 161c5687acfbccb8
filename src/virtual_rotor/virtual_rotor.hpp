#pragma once

#include <Eigen/Core>
#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"

/// A rotor whose truth is known, to rehearse a trim on: what would it have done?
///
/// Fixed axes: z runs along the shaft so that the rotor turns *positively* about it, from x towards y; z = 0
/// is the shaft's front end. SI units unless a name says otherwise. The types have a namespace of their own
/// because a virtual rotor has sensors and planes too, which are not those of the rotor file.
namespace trimwright::virtual_rotor {

/// A place or direction around the casing, which does not turn: degrees from the x axis, positive in the
/// direction the rotor turns. Not a `RotorAngle`: the two meet only at the instant the tooth passes the
/// pickup.
struct CasingAngle {
  double degrees = 0.0;
};

struct Material {
  double youngs_modulus = 2.1e11;  ///< E [Pa]
  double poissons_ratio = 0.3;     ///< nu; G = E / (2 (1 + nu))
  double density = 7800.0;         ///< [kg/m^3]
};

/// A length of shaft of one circular or ring-shaped cross-section.
struct ShaftSection {
  double length = 0.0;          ///< [m]
  double outer_diameter = 0.0;  ///< [m]
  double inner_diameter = 0.0;  ///< [m], 0: solid
};

/// A rigid disc (a bladed fan, a turbine) on the shaft.
struct Disc {
  std::string name;
  double at = 0.0;                 ///< z [m]
  double mass = 0.0;               ///< [kg]
  double diametral_inertia = 0.0;  ///< [kg m^2]
  double polar_inertia = 0.0;      ///< [kg m^2], at most twice the diametral
  double drag = 0.0;               ///< viscous damping of its sideways motion [N s/m] (Jeffcott's damping)
};

/// The casing at a support: a mass of its own, held to the ground.
struct Casing {
  double mass = 0.0;                                    ///< [kg], in x and y
  Eigen::Matrix2d stiffness = Eigen::Matrix2d::Zero();  ///< to the ground, rows and columns x, y [N/m]
  Eigen::Matrix2d damping = Eigen::Matrix2d::Zero();    ///< to the ground [N s/m]
};

/// A bearing and its housing, from the shaft to the casing; straight to the ground when there is no casing.
///
/// Rows and columns x, y. Off-diagonal terms may be unequal (a fluid-film bearing's cross-coupling).
struct Support {
  std::string name;
  double at = 0.0;                                      ///< z [m]
  Eigen::Matrix2d stiffness = Eigen::Matrix2d::Zero();  ///< [N/m]
  Eigen::Matrix2d damping = Eigen::Matrix2d::Zero();    ///< [N s/m]
  std::optional<Casing> casing;
};

/// Where weights can be fitted.
struct BalancePlane {
  std::string name;
  double at = 0.0;  ///< z [m]
};

/// Unbalance nobody sees, part of the rotor: what a trim is to cancel.
struct HiddenUnbalance {
  double at = 0.0;              ///< z [m]
  std::complex<double> moment;  ///< m r e^{j theta} [g mm], theta a rotor angle
};

enum class Quantity { displacement, velocity, acceleration };

/// A vibration sensor on a support's casing. It reads mm, mm/s or mm/s^2, always peak inside the library.
struct CasingSensor {
  std::string name;
  int support = 0;        ///< index into VirtualRotor::supports; that support has a casing
  CasingAngle direction;  ///< of positive motion
  Quantity quantity = Quantity::velocity;
  double repeatability = 0.0;  ///< one standard deviation per real component of a reading, in its unit
};

/// The whole truth about a rotor: a plain value. `assemble` checks it and makes its equations of motion.
struct VirtualRotor {
  std::string name;
  double full_speed_rpm = 0.0;  ///< 100 %
  Material material;
  bool shear_flexible = true;       ///< Timoshenko beam; false: Euler-Bernoulli (rotary inertia in both)
  std::vector<ShaftSection> shaft;  ///< from z = 0 on
  double longest_element = 0.1;     ///< [m]; sections are divided until no element is longer
  std::vector<Disc> discs;
  std::vector<Support> supports;  ///< at least two
  std::vector<BalancePlane> planes;
  std::vector<CasingSensor> sensors;
  std::vector<HiddenUnbalance> as_found;
  CasingAngle pickup;  ///< time zero is when the reference tooth passes here
};

/// Total length of the shaft [m].
[[nodiscard]] double shaft_length(const VirtualRotor& rotor);

/// Mass of shaft and discs [kg]; the casings do not turn and are not counted.
[[nodiscard]] double turning_mass(const VirtualRotor& rotor);

/// Nothing, or the first thing wrong: a number that is not finite, a size or mass that cannot be, a station
/// off the shaft, fewer than two supports, a sensor on a support that has no casing.
[[nodiscard]] Result<void> check(const VirtualRotor& rotor);

}  // namespace trimwright::virtual_rotor

#pragma once

#include <Eigen/Core>
#include <complex>
#include <numbers>
#include <vector>

#include "virtual_rotor.hpp"

namespace trimwright::virtual_rotor {

[[nodiscard]] constexpr double rad_per_s(double rpm) { return rpm * std::numbers::pi / 30.0; }
[[nodiscard]] constexpr double rpm(double rad_per_s) { return rad_per_s * 30.0 / std::numbers::pi; }

/// Equations of motion in fixed axes, real and of constant coefficients at a given spin speed [rad/s]:
///
///     M q'' + (C + spin G) q' + K q = f(t)
///
/// q: for each shaft node x, y [m] and the cross-section's slopes in the x and y planes [rad] (so 4 per
/// node), then x, y of each casing in the order of the supports that have one. M is symmetric, G skew.
struct EquationsOfMotion {
  Eigen::MatrixXd M, C, G, K;
  std::vector<double> node_at;  ///< z of each shaft node [m], increasing
  std::vector<int> casing_dof;  ///< per support: row of its casing's x (y follows); -1: no casing

  [[nodiscard]] Eigen::Index size() const { return M.rows(); }
  /// The node nearest to `at` [m]; every station of the rotor has one of its own place.
  [[nodiscard]] int node_near(double at) const;
  /// Row of a node's x; y, x-slope and y-slope follow.
  [[nodiscard]] static int node_dof(int node) { return 4 * node; }
};

/// A rotor that has passed `check`, with its equations: what the other functions of this room start from.
class AssembledRotor {
 public:
  [[nodiscard]] const VirtualRotor& rotor() const { return rotor_; }
  [[nodiscard]] const EquationsOfMotion& equations() const { return equations_; }

 private:
  friend Result<AssembledRotor> assemble(VirtualRotor rotor);
  AssembledRotor(VirtualRotor rotor, EquationsOfMotion equations)
      : rotor_(std::move(rotor)), equations_(std::move(equations)) {}

  VirtualRotor rotor_;
  EquationsOfMotion equations_;
};

/// Fails exactly when `check` does.
[[nodiscard]] Result<AssembledRotor> assemble(VirtualRotor rotor);

/// K - frequency^2 M + j frequency (C + spin G): force amplitude per displacement amplitude, for motion
/// q(t) = Re(q e^{j frequency t}). Both in rad/s.
[[nodiscard]] Eigen::MatrixXcd dynamic_stiffness(const EquationsOfMotion& equations, double spin,
                                                 double frequency);

}  // namespace trimwright::virtual_rotor

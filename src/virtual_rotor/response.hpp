#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

#include "equations.hpp"
#include "trimwright/phasor.hpp"

namespace trimwright::virtual_rotor {

/// How the rotor answers unbalance at one speed: X = as_found + influence * U, with U the total moments of
/// the planes [g mm]. Rows are the sensors, in mm, mm/s or mm/s^2 peak; phases lead, from the reference
/// tooth.
struct SpeedResponse {
  Eigen::VectorXcd as_found;   ///< sensors: X0, every slot empty
  Eigen::MatrixXcd influence;  ///< sensors x planes: C, per g mm
};

/// Amplitudes q of the whole rotor (layout of `EquationsOfMotion`) under an unbalance `moment` [g mm] at `at`
/// [m], turning at `spin` [rad/s].
///
/// At time t a mass at rotor angle theta stands at casing angle pickup + spin t + theta, so the force
/// spin^2 U e^{j(spin t + pickup)} in the complex plane x + j y has amplitudes (1, -j) spin^2 U e^{j pickup}
/// in x and y. Friswell et al. (2010), section 6.2; Re(q e^{j spin t}) is the motion.
[[nodiscard]] Eigen::VectorXcd unbalance_response(const AssembledRotor& assembled, double at,
                                                  std::complex<double> moment, double spin);

/// The truth a trim has to find out, at `speed_rpm`. Every entry is finite unless the rotor has no damping
/// and turns exactly at a critical speed.
[[nodiscard]] SpeedResponse speed_response(const AssembledRotor& assembled, double speed_rpm);

/// `speed_response` and its derivative by speed [per rad/s], exact.
struct SpeedResponseSlope {
  SpeedResponse value;
  SpeedResponse slope;
};
[[nodiscard]] SpeedResponseSlope speed_response_slope(const AssembledRotor& assembled, double speed_rpm);

/// X of every sensor with the given total moments in the planes [g mm]; one entry per plane.
[[nodiscard]] Eigen::VectorXcd vibration(const SpeedResponse& response,
                                         const std::vector<std::complex<double>>& unbalance);

/// What a sensor reads [mm, mm/s, mm/s^2] per amplitudes q [m], as a row: its direction, and j spin for each
/// derivative.
[[nodiscard]] Eigen::RowVectorXcd sensor_row(const AssembledRotor& assembled, const CasingSensor& sensor,
                                             double spin);

}  // namespace trimwright::virtual_rotor

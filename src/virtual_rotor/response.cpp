#include "response.hpp"

#include <Eigen/LU>
#include <cassert>
#include <cmath>

#include "trimwright/phasor.hpp"

namespace trimwright::virtual_rotor {

namespace {

using Complex = std::complex<double>;
constexpr Complex j{0.0, 1.0};
constexpr double kg_m_per_g_mm = 1e-6;
constexpr double mm_per_m = 1e3;

/// Amplitudes of the force of unit spin^2: m r e^{j theta} [kg m] seen from fixed axes.
Eigen::VectorXcd force_per_spin_squared(const AssembledRotor& assembled, double at, Complex moment) {
  const EquationsOfMotion& e = assembled.equations();
  Eigen::VectorXcd force = Eigen::VectorXcd::Zero(e.size());
  const int x = EquationsOfMotion::node_dof(e.node_near(at));
  const Complex seen = kg_m_per_g_mm * moment * std::polar(1.0, radians(assembled.rotor().pickup.degrees));
  force(x) = seen;
  force(x + 1) = -j * seen;
  return force;
}

/// Column 0: all hidden unbalance; then 1 g mm in each plane.
Eigen::MatrixXcd forces_per_spin_squared(const AssembledRotor& assembled) {
  const VirtualRotor& rotor = assembled.rotor();
  Eigen::MatrixXcd forces = Eigen::MatrixXcd::Zero(assembled.equations().size(),
                                                   static_cast<Eigen::Index>(1 + rotor.planes.size()));
  for (const HiddenUnbalance& u : rotor.as_found) {
    forces.col(0) += force_per_spin_squared(assembled, u.at, u.moment);
  }
  for (std::size_t p = 0; p < rotor.planes.size(); ++p) {
    forces.col(static_cast<Eigen::Index>(p) + 1) = force_per_spin_squared(assembled, rotor.planes[p].at, 1.0);
  }
  return forces;
}

int derivatives(Quantity quantity) {
  switch (quantity) {
    case Quantity::displacement:
      return 0;
    case Quantity::velocity:
      return 1;
    case Quantity::acceleration:
      return 2;
  }
  assert(false);
  return 0;
}

/// Rows of all sensors, and their derivative by spin.
struct SensorRows {
  Eigen::MatrixXcd value, slope;
};

SensorRows sensor_rows(const AssembledRotor& assembled, double spin) {
  const std::vector<CasingSensor>& sensors = assembled.rotor().sensors;
  SensorRows rows;
  rows.value.resize(static_cast<Eigen::Index>(sensors.size()), assembled.equations().size());
  rows.slope = Eigen::MatrixXcd::Zero(rows.value.rows(), rows.value.cols());
  for (std::size_t i = 0; i < sensors.size(); ++i) {
    const auto row = static_cast<Eigen::Index>(i);
    rows.value.row(row) = sensor_row(assembled, sensors[i], spin);
    const int n = derivatives(sensors[i].quantity);
    if (n == 0) continue;
    CasingSensor one_less = sensors[i];  // d/dspin (j spin)^n = n j (j spin)^(n-1)
    one_less.quantity = n == 2 ? Quantity::velocity : Quantity::displacement;
    rows.slope.row(row) = static_cast<double>(n) * j * sensor_row(assembled, one_less, spin);
  }
  return rows;
}

SpeedResponse split(const Eigen::MatrixXcd& all) { return {all.col(0), all.rightCols(all.cols() - 1)}; }

}  // namespace

Eigen::VectorXcd unbalance_response(const AssembledRotor& assembled, double at, Complex moment, double spin) {
  return dynamic_stiffness(assembled.equations(), spin, spin)
      .partialPivLu()
      .solve(spin * spin * force_per_spin_squared(assembled, at, moment));
}

Eigen::RowVectorXcd sensor_row(const AssembledRotor& assembled, const CasingSensor& sensor, double spin) {
  const int x = assembled.equations().casing_dof[static_cast<std::size_t>(sensor.support)];
  assert(x >= 0);
  Eigen::RowVectorXcd row = Eigen::RowVectorXcd::Zero(assembled.equations().size());
  Complex gain = mm_per_m;
  for (int n = derivatives(sensor.quantity); n > 0; --n) gain *= j * spin;
  row(x) = gain * std::cos(radians(sensor.direction.degrees));
  row(x + 1) = gain * std::sin(radians(sensor.direction.degrees));
  return row;
}

SpeedResponse speed_response(const AssembledRotor& assembled, double speed_rpm) {
  const double spin = rad_per_s(speed_rpm);
  const Eigen::MatrixXcd amplitudes = dynamic_stiffness(assembled.equations(), spin, spin)
                                          .partialPivLu()
                                          .solve(spin * spin * forces_per_spin_squared(assembled));
  return split(sensor_rows(assembled, spin).value * amplitudes);
}

SpeedResponseSlope speed_response_slope(const AssembledRotor& assembled, double speed_rpm) {
  const EquationsOfMotion& e = assembled.equations();
  const double spin = rad_per_s(speed_rpm);
  const auto factors = dynamic_stiffness(e, spin, spin).partialPivLu();
  const Eigen::MatrixXcd unit_forces = forces_per_spin_squared(assembled);
  const Eigen::MatrixXcd q = factors.solve(spin * spin * unit_forces);
  // D q = spin^2 F, so D q' = 2 spin F - D' q with D' = j C + 2 spin (j G - M).
  const Eigen::MatrixXcd stiffness_slope = j * e.C + 2.0 * spin * (j * e.G - e.M.cast<Complex>());
  const Eigen::MatrixXcd q_slope = factors.solve(2.0 * spin * unit_forces - stiffness_slope * q);
  const SensorRows rows = sensor_rows(assembled, spin);
  return {split(rows.value * q), split(rows.slope * q + rows.value * q_slope)};
}

Eigen::VectorXcd vibration(const SpeedResponse& response, const std::vector<Complex>& unbalance) {
  assert(static_cast<Eigen::Index>(unbalance.size()) == response.influence.cols());
  const Eigen::Map<const Eigen::VectorXcd> u(unbalance.data(), static_cast<Eigen::Index>(unbalance.size()));
  return response.as_found + response.influence * u;
}

}  // namespace trimwright::virtual_rotor

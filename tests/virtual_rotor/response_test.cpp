#include "virtual_rotor/response.hpp"

#include <doctest/doctest.h>

#include <Eigen/LU>
#include <cmath>

#include "trimwright/phasor.hpp"
#include "virtual_rotor/demonstration.hpp"
#include "virtual_rotor/whirl.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

AssembledRotor assembled_or_die(VirtualRotor rotor) {
  auto assembled = assemble(std::move(rotor));
  REQUIRE(assembled);
  return *std::move(assembled);
}

void make_isotropic(Eigen::Matrix2d& matrix) { matrix(1, 1) = matrix(0, 0); }

VirtualRotor isotropic_demonstration() {
  VirtualRotor rotor = demonstration_rotor();
  for (Support& support : rotor.supports) {
    for (Eigen::Matrix2d* m :
         {&support.stiffness, &support.damping, &support.casing->stiffness, &support.casing->damping}) {
      make_isotropic(*m);
    }
  }
  return rotor;
}

CasingSensor sensor(int support, double direction_deg, virtual_rotor::Quantity quantity) {
  CasingSensor made;
  made.support = support;
  made.direction = {direction_deg};
  made.quantity = quantity;
  return made;
}

double difference(const Eigen::MatrixXcd& a, const Eigen::MatrixXcd& b) { return (a - b).norm() / b.norm(); }

}  // namespace

TEST_CASE("far below every critical speed the casing moves towards the heavy spot as it comes by") {
  VirtualRotor rotor = isotropic_demonstration();
  rotor.pickup = {35.0};
  rotor.sensors = {sensor(0, 35.0, virtual_rotor::Quantity::displacement),
                   sensor(0, 125.0, virtual_rotor::Quantity::displacement),
                   sensor(0, 235.0, virtual_rotor::Quantity::displacement)};
  const Eigen::MatrixXcd c = speed_response(assembled_or_die(rotor), 60.0).influence;
  const auto lag_is = [&](Eigen::Index row, double mass_at_deg, double expected_deg) {
    const Phasor x = c(row, 0) * RotorAngle::from_degrees(mass_at_deg).direction();
    return std::abs(wrap_180(shown_phase_deg(x, PhaseConvention::lag) - expected_deg)) < 0.5;
  };
  CHECK(lag_is(0, 0.0, 0.0));   // mass at the tooth, sensor at the pickup
  CHECK(lag_is(1, 0.0, 90.0));  // the sensor a quarter turn further on with rotation: later
  CHECK(lag_is(2, 0.0, 200.0));
  CHECK(lag_is(0, 90.0, 270.0));  // mass ahead of the tooth: earlier
  CHECK(lag_is(0, -30.0, 30.0));
}

TEST_CASE("turning the unbalance by an angle with rotation turns every reading by the same lead") {
  const AssembledRotor assembled = assembled_or_die(demonstration_rotor());
  const double spin = rad_per_s(3100.0);
  const Eigen::VectorXcd before = unbalance_response(assembled, 0.06, {300.0, 0.0}, spin);
  const Eigen::VectorXcd after =
      unbalance_response(assembled, 0.06, 300.0 * RotorAngle::from_degrees(77.0).direction(), spin);
  CHECK(difference(after, std::polar(1.0, radians(77.0)) * before) < 1e-12);
}

TEST_CASE("moving the pickup with rotation by an angle adds that lead: the tooth arrives later") {
  VirtualRotor rotor = demonstration_rotor();
  const SpeedResponse before = speed_response(assembled_or_die(rotor), 4000.0);
  rotor.pickup.degrees += 40.0;
  const SpeedResponse after = speed_response(assembled_or_die(rotor), 4000.0);
  CHECK(difference(after.influence, std::polar(1.0, radians(40.0)) * before.influence) < 1e-12);
  CHECK(difference(after.as_found, std::polar(1.0, radians(40.0)) * before.as_found) < 1e-12);
}

TEST_CASE("what unbalances do together is the sum of what they do alone, hidden ones included") {
  const AssembledRotor assembled = assembled_or_die(demonstration_rotor());
  const double speed = 3300.0, spin = rad_per_s(speed);
  const std::vector<std::complex<double>> unbalance{{500.0, -200.0}, {-120.0, 340.0}};
  Eigen::VectorXcd q = Eigen::VectorXcd::Zero(assembled.equations().size());
  for (const HiddenUnbalance& hidden : assembled.rotor().as_found) {
    q += unbalance_response(assembled, hidden.at, hidden.moment, spin);
  }
  for (std::size_t p = 0; p < 2; ++p) {
    q += unbalance_response(assembled, assembled.rotor().planes[p].at, unbalance[p], spin);
  }
  const Eigen::VectorXcd x = vibration(speed_response(assembled, speed), unbalance);
  REQUIRE(x.size() > 0);
  for (Eigen::Index s = 0; s < x.size(); ++s) {
    const Phasor alone =
        (sensor_row(assembled, assembled.rotor().sensors[static_cast<std::size_t>(s)], spin) * q)(0);
    CHECK(std::abs(x(s) - alone) < 1e-10 * std::abs(x(s)));
  }
}

TEST_CASE("on isotropic supports a sensor a quarter turn further on reads the same, 90 degrees later") {
  VirtualRotor rotor = isotropic_demonstration();
  rotor.sensors = {sensor(0, 20.0, virtual_rotor::Quantity::velocity),
                   sensor(0, 110.0, virtual_rotor::Quantity::velocity)};
  const AssembledRotor assembled = assembled_or_die(rotor);
  for (const double speed : {800.0, 3080.0, 5600.0}) {
    const Eigen::MatrixXcd c = speed_response(assembled, speed).influence;
    CHECK(difference(c.row(1), Phasor(0.0, -1.0) * c.row(0)) < 1e-9);
  }
}

TEST_CASE("on anisotropic supports it does not: the orbit is an ellipse") {
  VirtualRotor rotor = demonstration_rotor();
  rotor.sensors = {sensor(0, 20.0, virtual_rotor::Quantity::velocity),
                   sensor(0, 110.0, virtual_rotor::Quantity::velocity)};
  const Eigen::MatrixXcd c = speed_response(assembled_or_die(rotor), 3080.0).influence;
  CHECK(difference(c.row(1), Phasor(0.0, -1.0) * c.row(0)) > 1e-3);
}

TEST_CASE("velocity leads displacement by 90 degrees and speed, acceleration leads velocity likewise") {
  VirtualRotor rotor = demonstration_rotor();
  rotor.sensors = {sensor(1, 60.0, virtual_rotor::Quantity::displacement),
                   sensor(1, 60.0, virtual_rotor::Quantity::velocity),
                   sensor(1, 60.0, virtual_rotor::Quantity::acceleration)};
  const double speed = 2900.0;
  const Eigen::MatrixXcd c = speed_response(assembled_or_die(rotor), speed).influence;
  const Phasor derivative(0.0, rad_per_s(speed));
  CHECK(difference(c.row(1), derivative * c.row(0)) < 1e-12);
  CHECK(difference(c.row(2), derivative * c.row(1)) < 1e-12);
}

TEST_CASE("turning a sensor's positive direction over turns its phase by 180 degrees") {
  VirtualRotor rotor = demonstration_rotor();
  rotor.sensors = {sensor(0, 90.0, virtual_rotor::Quantity::velocity),
                   sensor(0, 270.0, virtual_rotor::Quantity::velocity)};
  const Eigen::MatrixXcd c = speed_response(assembled_or_die(rotor), 3000.0).influence;
  CHECK(difference(c.row(1), -c.row(0)) < 1e-12);
}

TEST_CASE("without spin a push here moves the rotor there as a push there would move it here") {
  const AssembledRotor assembled = assembled_or_die(demonstration_rotor());
  const Eigen::MatrixXcd standing = dynamic_stiffness(assembled.equations(), 0.0, 320.0).inverse();
  CHECK(difference(standing, standing.transpose()) < 1e-9);
  // With spin the gyroscopic effect breaks the symmetry, and turning the spin round transposes it.
  const Eigen::MatrixXcd turning = dynamic_stiffness(assembled.equations(), 320.0, 320.0).inverse();
  const Eigen::MatrixXcd backwards = dynamic_stiffness(assembled.equations(), -320.0, 320.0).inverse();
  CHECK(difference(turning, turning.transpose()) > 1e-3);
  CHECK(difference(turning, backwards.transpose()) < 1e-9);
}

TEST_CASE("the slope by speed is the limit of differences") {
  const AssembledRotor assembled = assembled_or_die(demonstration_rotor());
  const double speed = 3000.0, step_rpm = 0.5;
  const SpeedResponseSlope exact = speed_response_slope(assembled, speed);
  const SpeedResponse before = speed_response(assembled, speed - step_rpm);
  const SpeedResponse after = speed_response(assembled, speed + step_rpm);
  const double step = rad_per_s(2.0 * step_rpm);
  CHECK(difference(exact.slope.influence, (after.influence - before.influence) / step) < 1e-5);
  CHECK(difference(exact.slope.as_found, (after.as_found - before.as_found) / step) < 1e-5);
  CHECK(difference(exact.value.influence, speed_response(assembled, speed).influence) < 1e-12);
}

TEST_CASE("dividing the shaft twice as finely hardly changes the answer") {
  VirtualRotor rotor = demonstration_rotor();
  const Eigen::MatrixXcd coarse = speed_response(assembled_or_die(rotor), 5000.0).influence;
  rotor.longest_element /= 2.0;
  const Eigen::MatrixXcd fine = speed_response(assembled_or_die(rotor), 5000.0).influence;
  CHECK(difference(coarse, fine) < 1e-4);
}

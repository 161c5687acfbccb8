// Time integration by Boost.odeint (Dormand-Prince 5(4), controlled step) of the same matrices under the
// centrifugal force of one mass, worked out from where the mass stands at each instant, against the
// frequency-domain answer.
#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <boost/numeric/odeint.hpp>
#include <cmath>

#include "trimwright/phasor.hpp"
#include "virtual_rotor/response.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

using State = std::vector<double>;  // q, then q'

Support support_on_casing(double at, double kx, double ky, double casing_mass) {
  Support support;
  support.at = at;
  support.stiffness = Eigen::Vector2d(kx, ky).asDiagonal();
  support.damping = Eigen::Vector2d(9e3, 7e3).asDiagonal();
  support.casing = Casing{casing_mass, Eigen::Vector2d(1.2e7, 2.0e7).asDiagonal(),
                          Eigen::Vector2d(2.0e4, 1.5e4).asDiagonal()};
  return support;
}

/// Few long elements, or the shaft's own high modes would ask for millions of steps; damped well, so that the
/// start from rest dies out soon.
VirtualRotor short_lived_rotor() {
  VirtualRotor rotor;
  rotor.full_speed_rpm = 4000.0;
  rotor.shaft = {{1.2, 0.07, 0.03}};
  rotor.longest_element = 0.4;
  rotor.discs = {{"front", 0.0, 30.0, 0.8, 1.5, 900.0}, {"rear", 0.8, 20.0, 0.4, 0.7, 500.0}};
  rotor.supports = {support_on_casing(0.4, 8e6, 1.1e7, 15.0), support_on_casing(1.2, 6e6, 9e6, 12.0)};
  rotor.planes = {{"front", 0.0}};
  rotor.sensors = {{"a", 0, {30.0}, virtual_rotor::Quantity::displacement, 0.0},
                   {"b", 1, {100.0}, virtual_rotor::Quantity::velocity, 0.0}};
  rotor.pickup = {50.0};
  return rotor;
}

/// M q'' + (C + spin G) q' + K q = f, with a mass m r [kg m] at rotor angle `theta` in the plane at `node`.
class Turning {
 public:
  Turning(const AssembledRotor& assembled, double spin, double moment, double theta)
      : spin_(spin), moment_(moment), ahead_(theta + radians(assembled.rotor().pickup.degrees)) {
    const EquationsOfMotion& e = assembled.equations();
    const Eigen::LLT<Eigen::MatrixXd> mass(e.M);
    stiffness_ = mass.solve(e.K);
    damping_ = mass.solve(e.C + spin * e.G);
    const int x = EquationsOfMotion::node_dof(e.node_near(assembled.rotor().planes[0].at));
    push_x_ = mass.solve(Eigen::VectorXd::Unit(e.size(), x));
    push_y_ = mass.solve(Eigen::VectorXd::Unit(e.size(), x + 1));
  }
  void operator()(const State& state, State& rate, double t) const {
    const Eigen::Index n = stiffness_.rows();
    const Eigen::Map<const Eigen::VectorXd> q(state.data(), n), v(state.data() + n, n);
    Eigen::Map<Eigen::VectorXd> q_rate(rate.data(), n), v_rate(rate.data() + n, n);
    const double stands_at = spin_ * t + ahead_, force = moment_ * spin_ * spin_;
    q_rate = v;
    v_rate = -stiffness_ * q - damping_ * v + force * std::cos(stands_at) * push_x_ +
             force * std::sin(stands_at) * push_y_;
  }

 private:
  double spin_, moment_, ahead_;
  Eigen::MatrixXd stiffness_, damping_;
  Eigen::VectorXd push_x_, push_y_;
};

}  // namespace

TEST_CASE("a rotor started from rest settles on the frequency-domain answer") {
  namespace odeint = boost::numeric::odeint;
  const auto assembled = assemble(short_lived_rotor());
  REQUIRE(assembled);
  const auto n = static_cast<std::size_t>(assembled->equations().size());
  const double speed_rpm = 2200.0, spin = rad_per_s(speed_rpm), settled = 1.2;
  const double moment_g_mm = 500.0, theta = radians(65.0);
  const Eigen::VectorXcd x =
      speed_response(*assembled, speed_rpm).influence.col(0) * std::polar(moment_g_mm, theta);

  State state(2 * n, 0.0);
  const Turning rotor(*assembled, spin, moment_g_mm * 1e-6, theta);
  auto stepper = odeint::make_controlled<odeint::runge_kutta_dopri5<State>>(1e-13, 1e-9);
  odeint::integrate_adaptive(stepper, std::cref(rotor), state, 0.0, settled, 1e-6);

  const auto x0 = static_cast<std::size_t>(assembled->equations().casing_dof[0]);
  const auto x1 = static_cast<std::size_t>(assembled->equations().casing_dof[1]);
  double time = settled;
  for (int i = 0; i < 8; ++i) {  // over a revolution
    const double a = 1e3 * (state[x0] * std::cos(radians(30.0)) + state[x0 + 1] * std::sin(radians(30.0)));
    const double b =
        1e3 * (state[n + x1] * std::cos(radians(100.0)) + state[n + x1 + 1] * std::sin(radians(100.0)));
    const std::complex<double> turned = std::polar(1.0, spin * time);
    CAPTURE(i);
    CHECK(std::abs(a - std::real(x(0) * turned)) < 1e-5 * std::abs(x(0)));
    CHECK(std::abs(b - std::real(x(1) * turned)) < 1e-5 * std::abs(x(1)));
    const double next = time + 0.125 * 60.0 / speed_rpm;
    odeint::integrate_adaptive(stepper, std::cref(rotor), state, time, next, 1e-6);
    time = next;
  }
}

#include "whirl.hpp"

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace trimwright::virtual_rotor {

namespace {

using Complex = std::complex<double>;

/// Sense of an orbit x + j y = F e^{jwt} + B e^{-jwt}: |F|^2 - |B|^2 = Im(conj(y) x), taken over all nodes.
Whirl sense_of(const Eigen::VectorXcd& shape, std::size_t nodes) {
  double turning = 0.0, size = 0.0;
  for (std::size_t n = 0; n < nodes; ++n) {
    const int x = EquationsOfMotion::node_dof(static_cast<int>(n));
    turning += 2.0 * std::imag(std::conj(shape(x + 1)) * shape(x));
    size += std::norm(shape(x)) + std::norm(shape(x + 1));
  }
  if (std::abs(turning) <= 1e-6 * size) return Whirl::straight;
  return turning > 0.0 ? Whirl::forward : Whirl::backward;
}

Eigen::VectorXcd scaled_to_one(const Eigen::VectorXcd& shape) {
  Eigen::Index largest = 0;
  shape.cwiseAbs().maxCoeff(&largest);
  return shape / shape(largest);
}

/// The oscillating modes of q'' = -restoring q - damping q'. `inverse`: of s where the unknown is 1/s.
std::vector<WhirlMode> oscillating(const Eigen::MatrixXcd& restoring, const Eigen::MatrixXcd& damping,
                                   const EquationsOfMotion& e, bool inverse) {
  const Eigen::Index n = e.size();
  const double unit = std::sqrt(restoring.norm());  // of 1/time, or rounding would drown the low modes
  Eigen::MatrixXcd first_order = Eigen::MatrixXcd::Zero(2 * n, 2 * n);
  first_order.topRightCorner(n, n).setIdentity();
  first_order.bottomLeftCorner(n, n) = -restoring / (unit * unit);
  first_order.bottomRightCorner(n, n) = -damping / unit;
  const Eigen::ComplexEigenSolver<Eigen::MatrixXcd> solver(first_order);
  std::vector<WhirlMode> modes;
  for (Eigen::Index i = 0; i < 2 * n; ++i) {
    const Complex value = unit * solver.eigenvalues()(i), s = inverse ? 1.0 / value : value;
    if (!std::isfinite(std::abs(s)) || s.imag() <= 1e-6 * std::abs(s)) continue;
    WhirlMode mode{s, scaled_to_one(solver.eigenvectors().col(i).head(n)), Whirl::straight};
    mode.whirl = sense_of(mode.shape, e.node_at.size());
    modes.push_back(std::move(mode));
  }
  std::stable_sort(modes.begin(), modes.end(),
                   [](const WhirlMode& a, const WhirlMode& b) { return a.frequency() < b.frequency(); });
  return modes;
}

}  // namespace

std::vector<WhirlMode> whirl_modes(const EquationsOfMotion& e, double spin) {
  const Eigen::PartialPivLU<Eigen::MatrixXd> mass(e.M);
  return oscillating(mass.solve(e.K), mass.solve(e.C + spin * e.G), e, false);
}

std::vector<WhirlMode> critical_speeds(const EquationsOfMotion& e) {
  // With m = 1/s the problem is m^2 K q + m C q + (M - j G) q = 0: K can always be divided by, M - j G
  // cannot.
  const Eigen::PartialPivLU<Eigen::MatrixXd> stiffness(e.K);
  Eigen::MatrixXcd flexibility(e.size(), e.size());
  flexibility.real() = stiffness.solve(e.M);
  flexibility.imag() = -stiffness.solve(e.G);
  return oscillating(flexibility, stiffness.solve(e.C), e, true);
}

}  // namespace trimwright::virtual_rotor

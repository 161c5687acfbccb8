#include "whirl.hpp"

#include <Eigen/Cholesky>
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

/// The oscillating modes among eigenpairs of a first-order form whose first n rows are q.
std::vector<WhirlMode> oscillating(const Eigen::VectorXcd& values, const Eigen::MatrixXcd& vectors,
                                   const EquationsOfMotion& e) {
  std::vector<WhirlMode> modes;
  for (Eigen::Index i = 0; i < values.size(); ++i) {
    const Complex s = values(i);
    if (!std::isfinite(std::abs(s)) || s.imag() <= 1e-6 * std::abs(s)) continue;
    WhirlMode mode{s, scaled_to_one(vectors.col(i).head(e.size())), Whirl::straight};
    mode.whirl = sense_of(mode.shape, e.node_at.size());
    modes.push_back(std::move(mode));
  }
  std::stable_sort(modes.begin(), modes.end(),
                   [](const WhirlMode& a, const WhirlMode& b) { return a.frequency() < b.frequency(); });
  return modes;
}

}  // namespace

std::vector<WhirlMode> whirl_modes(const EquationsOfMotion& e, double spin) {
  const Eigen::Index n = e.size();
  const Eigen::LLT<Eigen::MatrixXd> mass(e.M);
  const Eigen::MatrixXd stiffness = mass.solve(e.K);
  const double unit = std::sqrt(stiffness.norm());  // time in 1/unit, or rounding would drown the low modes
  Eigen::MatrixXd first_order = Eigen::MatrixXd::Zero(2 * n, 2 * n);
  first_order.topRightCorner(n, n).setIdentity();
  first_order.bottomLeftCorner(n, n) = -stiffness / (unit * unit);
  first_order.bottomRightCorner(n, n) = -mass.solve(e.C + spin * e.G) / unit;
  const Eigen::EigenSolver<Eigen::MatrixXd> solver(first_order);
  return oscillating(unit * solver.eigenvalues(), solver.eigenvectors(), e);
}

std::vector<WhirlMode> critical_speeds(const EquationsOfMotion& e) {
  // With m = 1/s the problem is m^2 K q + m C q + (M - j G) q = 0: K can always be divided by, M - j G
  // cannot.
  const Eigen::Index n = e.size();
  const Eigen::PartialPivLU<Eigen::MatrixXd> stiffness(e.K);
  Eigen::MatrixXcd flexibility(n, n);
  flexibility.real() = stiffness.solve(e.M);
  flexibility.imag() = -stiffness.solve(e.G);
  const double unit = std::sqrt(flexibility.norm());
  Eigen::MatrixXcd first_order = Eigen::MatrixXcd::Zero(2 * n, 2 * n);
  first_order.topRightCorner(n, n).setIdentity();
  first_order.bottomLeftCorner(n, n) = -flexibility / (unit * unit);
  first_order.bottomRightCorner(n, n) = -stiffness.solve(e.C).cast<Complex>() / unit;
  const Eigen::ComplexEigenSolver<Eigen::MatrixXcd> solver(first_order);
  return oscillating((unit * solver.eigenvalues()).cwiseInverse(), solver.eigenvectors(), e);
}

}  // namespace trimwright::virtual_rotor

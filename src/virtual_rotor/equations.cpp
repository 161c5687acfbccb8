#include "equations.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

#include "beam.hpp"

namespace trimwright::virtual_rotor {

namespace {

constexpr double same_station = 1e-6;  // [m]

/// Nodes at every section end and station, and between them wherever an element would be too long.
std::vector<double> mesh(const VirtualRotor& rotor) {
  std::vector<double> wanted{0.0};
  for (const ShaftSection& s : rotor.shaft) wanted.push_back(wanted.back() + s.length);
  const double length = wanted.back();
  for (const Disc& d : rotor.discs) wanted.push_back(d.at);
  for (const Support& s : rotor.supports) wanted.push_back(s.at);
  for (const BalancePlane& p : rotor.planes) wanted.push_back(p.at);
  for (const HiddenUnbalance& u : rotor.as_found) wanted.push_back(u.at);
  std::sort(wanted.begin(), wanted.end());

  std::vector<double> nodes{0.0};
  for (const double next : wanted) {
    const double gap = std::min(next, length) - nodes.back();
    if (gap < same_station) continue;
    const double pieces = std::ceil(gap / rotor.longest_element - 1e-9);
    const double start = nodes.back();
    for (double i = 1.0; i <= pieces; ++i) nodes.push_back(start + gap * i / pieces);
  }
  return nodes;
}

const ShaftSection& section_at(const VirtualRotor& rotor, double z) {
  double end = 0.0;
  for (const ShaftSection& s : rotor.shaft) {
    end += s.length;
    if (z < end) return s;
  }
  return rotor.shaft.back();
}

EquationsOfMotion empty_equations(const VirtualRotor& rotor) {
  EquationsOfMotion e;
  e.node_at = mesh(rotor);
  int size = 4 * static_cast<int>(e.node_at.size());
  for (const Support& s : rotor.supports) {
    e.casing_dof.push_back(s.casing ? size : -1);
    if (s.casing) size += 2;
  }
  e.M = e.C = e.G = e.K = Eigen::MatrixXd::Zero(size, size);
  return e;
}

void add_shaft(EquationsOfMotion& e, const VirtualRotor& rotor) {
  for (std::size_t n = 0; n + 1 < e.node_at.size(); ++n) {
    const double left = e.node_at[n], right = e.node_at[n + 1];
    const BeamElement beam = beam_element(section_at(rotor, 0.5 * (left + right)), right - left,
                                          rotor.material, rotor.shear_flexible);
    const int first = EquationsOfMotion::node_dof(static_cast<int>(n));
    const std::array<int, 4> x{first, first + 2, first + 4, first + 6};
    for (int i = 0; i < 4; ++i) {
      for (int j = 0; j < 4; ++j) {
        const int xi = x[static_cast<std::size_t>(i)], xj = x[static_cast<std::size_t>(j)];
        for (int plane = 0; plane < 2; ++plane) {
          e.K(xi + plane, xj + plane) += beam.stiffness(i, j);
          e.M(xi + plane, xj + plane) += beam.translational_mass(i, j) + beam.rotary_inertia(i, j);
        }
        e.G(xi, xj + 1) += 2.0 * beam.rotary_inertia(i, j);
        e.G(xi + 1, xj) -= 2.0 * beam.rotary_inertia(i, j);
      }
    }
  }
}

/// In slopes (a, b) of the x and y planes: Id a'' + Ip spin b' = moment, Id b'' - Ip spin a' = moment.
void add_discs(EquationsOfMotion& e, const VirtualRotor& rotor) {
  for (const Disc& disc : rotor.discs) {
    const int x = EquationsOfMotion::node_dof(e.node_near(disc.at));
    for (int plane = 0; plane < 2; ++plane) {
      e.M(x + plane, x + plane) += disc.mass;
      e.C(x + plane, x + plane) += disc.drag;
      e.M(x + 2 + plane, x + 2 + plane) += disc.diametral_inertia;
    }
    e.G(x + 2, x + 3) += disc.polar_inertia;
    e.G(x + 3, x + 2) -= disc.polar_inertia;
  }
}

/// A spring or damper `between` the two degrees of freedom from `x` on and those from `other` on (-1:
/// ground).
void add_link(Eigen::MatrixXd& matrix, const Eigen::Matrix2d& between, int x, int other) {
  matrix.block<2, 2>(x, x) += between;
  if (other < 0) return;
  matrix.block<2, 2>(other, other) += between;
  matrix.block<2, 2>(x, other) -= between;
  matrix.block<2, 2>(other, x) -= between;
}

void add_supports(EquationsOfMotion& e, const VirtualRotor& rotor) {
  for (std::size_t i = 0; i < rotor.supports.size(); ++i) {
    const Support& support = rotor.supports[i];
    const int x = EquationsOfMotion::node_dof(e.node_near(support.at));
    const int casing = e.casing_dof[i];
    add_link(e.K, support.stiffness, x, casing);
    add_link(e.C, support.damping, x, casing);
    if (!support.casing) continue;
    e.M(casing, casing) += support.casing->mass;
    e.M(casing + 1, casing + 1) += support.casing->mass;
    add_link(e.K, support.casing->stiffness, casing, -1);
    add_link(e.C, support.casing->damping, casing, -1);
  }
}

}  // namespace

int EquationsOfMotion::node_near(double at) const {
  assert(!node_at.empty());
  const auto closer = [at](double a, double b) { return std::abs(a - at) < std::abs(b - at); };
  return static_cast<int>(std::min_element(node_at.begin(), node_at.end(), closer) - node_at.begin());
}

Result<AssembledRotor> assemble(VirtualRotor rotor) {
  if (auto checked = check(rotor); !checked) return tl::unexpected<Error>(checked.error());
  EquationsOfMotion equations = empty_equations(rotor);
  add_shaft(equations, rotor);
  add_discs(equations, rotor);
  add_supports(equations, rotor);
  return AssembledRotor(std::move(rotor), std::move(equations));
}

Eigen::MatrixXcd dynamic_stiffness(const EquationsOfMotion& e, double spin, double frequency) {
  Eigen::MatrixXcd stiffness(e.size(), e.size());
  stiffness.real() = e.K - frequency * frequency * e.M;
  stiffness.imag() = frequency * (e.C + spin * e.G);
  return stiffness;
}

}  // namespace trimwright::virtual_rotor

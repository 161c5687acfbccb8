#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

#include "equations.hpp"

namespace trimwright::virtual_rotor {

enum class Whirl { forward, backward, straight };

/// A free motion q(t) = Re(shape e^{eigenvalue t}).
struct WhirlMode {
  std::complex<double> eigenvalue;  ///< [1/s], imaginary part positive
  Eigen::VectorXcd shape;           ///< layout of EquationsOfMotion; largest entry 1
  Whirl whirl = Whirl::straight;    ///< sense of the shaft's motion against the spin, taken over all nodes

  [[nodiscard]] double frequency() const { return eigenvalue.imag(); }  ///< damped [rad/s]
  [[nodiscard]] double damping_ratio() const { return -eigenvalue.real() / std::abs(eigenvalue); }
};

/// Whirl modes at `spin` [rad/s], by increasing frequency; overdamped motions (real eigenvalues) are left
/// out.
///
/// Eigenvalues of the first-order form of M q'' + (C + spin G) q' + K q = 0: Friswell et al. (2010),
/// section 5.5.
[[nodiscard]] std::vector<WhirlMode> whirl_modes(const EquationsOfMotion& equations, double spin);

/// Modes that turn at their own frequency, spin = frequency, by increasing frequency.
///
/// The direct method, one eigenvalue problem in s: (K + s C + s^2 (M - j G)) q = 0, which holds for
/// q e^{st} with s = j spin; Friswell et al. (2010), section 6.8 (from memory). Without damping, frequency()
/// is exactly where the Campbell line meets the once-per-revolution line. With damping spin becomes complex,
/// and frequency() differs from that meeting point, and from the peak of the response, by the order of the
/// damping ratio squared. A straight or backward mode of an isotropic rotor is not excited by unbalance.
[[nodiscard]] std::vector<WhirlMode> critical_speeds(const EquationsOfMotion& equations);

}  // namespace trimwright::virtual_rotor

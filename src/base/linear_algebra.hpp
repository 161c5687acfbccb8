#pragma once

#include <Eigen/Core>

#include <complex>

namespace trimwright {

/// What multiplying by `a` makes of (real part, imaginary part).
[[nodiscard]] inline Eigen::Matrix2d as_real(std::complex<double> a) {
  return (Eigen::Matrix2d() << a.real(), -a.imag(), a.imag(), a.real()).finished();
}
/// The same of (real parts, imaginary parts) of a vector.
[[nodiscard]] inline Eigen::MatrixXd halves_apart(const Eigen::MatrixXcd& m) {
  return (Eigen::MatrixXd(2 * m.rows(), 2 * m.cols()) << m.real(), -m.imag(), m.imag(), m.real()).finished();
}
/// What a mean over all turns of a phasor keeps of the covariance of (real part, imaginary part).
[[nodiscard]] inline std::complex<double> circular_part(const Eigen::Matrix2d& c) {
  return 0.5 * std::complex<double>(c(0, 0) + c(1, 1), c(1, 0) - c(0, 1));
}

// Decompositions of Eigen as plain functions, compiled once: a file that includes Eigen's own headers for
// them needs many times as long.

/// Lower L with L L^T = `positive`.
[[nodiscard]] Eigen::MatrixXd cholesky(const Eigen::MatrixXd& positive);
/// L^-1 b, L lower.
[[nodiscard]] Eigen::MatrixXd lower_solve(const Eigen::MatrixXd& lower, const Eigen::MatrixXd& b);
[[nodiscard]] Eigen::MatrixXcd lower_solve(const Eigen::MatrixXd& lower, const Eigen::MatrixXcd& b);
/// positive^-1 b.
[[nodiscard]] Eigen::MatrixXd positive_solve(const Eigen::MatrixXd& positive, const Eigen::MatrixXd& b);

/// Least squares |a x - b| with columns scaled to unit norm, by Householder QR; `a` of full column rank.
struct RealLeastSquares {
  Eigen::VectorXd solution;
  Eigen::MatrixXd root;  ///< root root^T = (a^T a)^-1
  double residual_square = 0.0;
  double log_determinant = 0.0;  ///< of a^T a
};
[[nodiscard]] RealLeastSquares least_squares(const Eigen::MatrixXd& a, const Eigen::VectorXd& b);

/// The same in complex numbers.
struct ComplexLeastSquares {
  Eigen::VectorXcd solution;
  Eigen::MatrixXcd root;       ///< root root^H = (a^H a)^-1
  Eigen::MatrixXcd basis;      ///< orthonormal, of the columns of a; solution = root basis^H b
  Eigen::VectorXcd residual;   ///< b - a x
  double log_determinant = 0;  ///< of a^H a
};
[[nodiscard]] ComplexLeastSquares least_squares(const Eigen::MatrixXcd& a, const Eigen::VectorXcd& b);

/// a = u diag(values) v^H, values falling. u thin, v thin or (`full_v`) square.
struct SingularValues {
  Eigen::MatrixXcd u, v;
  Eigen::VectorXd values;
};
[[nodiscard]] SingularValues singular_values(const Eigen::MatrixXcd& a, bool full_v = false);
/// The x of smallest norm among those of least |a x - b|; singular values below `tolerance` times the largest
/// count as zero.
[[nodiscard]] Eigen::VectorXcd smallest_solution(const Eigen::MatrixXcd& a, const Eigen::VectorXcd& b,
                                                 double tolerance);

/// By QR with column pivoting; `tolerance` relative to the largest pivot.
[[nodiscard]] Eigen::Index rank_of(const Eigen::MatrixXcd& a, double tolerance);
/// Orthonormal rows n with n a = 0.
[[nodiscard]] Eigen::MatrixXcd left_null_space(const Eigen::MatrixXcd& a, double tolerance);
[[nodiscard]] Eigen::MatrixXd pseudo_inverse(const Eigen::MatrixXd& a);

/// symmetric = vectors diag(values) vectors^T, values rising.
struct SymmetricEigen {
  Eigen::VectorXd values;
  Eigen::MatrixXd vectors;
};
[[nodiscard]] SymmetricEigen symmetric_eigen(const Eigen::MatrixXd& symmetric);

}  // namespace trimwright

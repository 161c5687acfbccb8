#include "linear_algebra.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/QR>
#include <Eigen/SVD>

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// Inverse norms of the columns; 1 where a column is zero.
template <class Matrix>
VectorXd column_scale(const Matrix& a) {
  const VectorXd norms = a.colwise().norm();
  return (norms.array() > 0.0).select(norms.cwiseInverse(), 1.0);
}

}  // namespace

MatrixXd cholesky(const MatrixXd& positive) { return positive.llt().matrixL(); }

MatrixXd lower_solve(const MatrixXd& lower, const MatrixXd& b) {
  return lower.triangularView<Eigen::Lower>().solve(b);
}

MatrixXcd lower_solve(const MatrixXd& lower, const MatrixXcd& b) {
  MatrixXcd solved(b.rows(), b.cols());
  solved.real() = lower.triangularView<Eigen::Lower>().solve(b.real());
  solved.imag() = lower.triangularView<Eigen::Lower>().solve(b.imag());
  return solved;
}

MatrixXd positive_solve(const MatrixXd& positive, const MatrixXd& b) { return positive.ldlt().solve(b); }

RealLeastSquares least_squares(const MatrixXd& a, const VectorXd& b) {
  const Index n = a.cols();
  const VectorXd scale = column_scale(a);
  const Eigen::HouseholderQR<MatrixXd> qr(a * scale.asDiagonal());
  const VectorXd rotated = qr.householderQ().adjoint() * b;
  RealLeastSquares fit;
  fit.root = scale.asDiagonal() *
             qr.matrixQR().topRows(n).triangularView<Eigen::Upper>().solve(MatrixXd::Identity(n, n));
  fit.solution = fit.root * rotated.head(n);
  fit.residual_square = rotated.tail(rotated.size() - n).squaredNorm();
  fit.log_determinant =
      2.0 * (qr.matrixQR().diagonal().head(n).cwiseAbs().array().log() - scale.array().log()).sum();
  return fit;
}

ComplexLeastSquares least_squares(const MatrixXcd& a, const VectorXcd& b) {
  const Index n = a.cols();
  const VectorXd scale = column_scale(a);
  const Eigen::HouseholderQR<MatrixXcd> qr(a * scale.cast<std::complex<double>>().asDiagonal());
  ComplexLeastSquares fit;
  fit.basis = qr.householderQ() * MatrixXcd::Identity(a.rows(), n);
  fit.root = scale.cast<std::complex<double>>().asDiagonal() *
             qr.matrixQR().topRows(n).triangularView<Eigen::Upper>().solve(MatrixXcd::Identity(n, n));
  VectorXcd rotated = qr.householderQ().adjoint() * b;
  fit.solution = fit.root * rotated.head(n);
  rotated.head(n).setZero();
  fit.residual = qr.householderQ() * rotated;
  fit.log_determinant =
      2.0 * (qr.matrixQR().diagonal().head(n).cwiseAbs().array().log() - scale.array().log()).sum();
  return fit;
}

SingularValues singular_values(const MatrixXcd& a, bool full_v) {
  const Eigen::JacobiSVD<MatrixXcd> svd(
      a, full_v ? Eigen::ComputeThinU | Eigen::ComputeFullV : Eigen::ComputeThinU | Eigen::ComputeThinV);
  return {svd.matrixU(), svd.matrixV(), svd.singularValues()};
}

VectorXcd smallest_solution(const MatrixXcd& a, const VectorXcd& b, double tolerance) {
  Eigen::JacobiSVD<MatrixXcd> svd(a, Eigen::ComputeThinU | Eigen::ComputeThinV);
  svd.setThreshold(tolerance);
  return svd.solve(b);
}

Index rank_of(const MatrixXcd& a, double tolerance) {
  Eigen::ColPivHouseholderQR<MatrixXcd> qr(a);
  qr.setThreshold(tolerance);
  return qr.rank();
}

MatrixXcd left_null_space(const MatrixXcd& a, double tolerance) {
  Eigen::ColPivHouseholderQR<MatrixXcd> qr(a);
  qr.setThreshold(tolerance);
  const MatrixXcd q = qr.householderQ();
  return q.rightCols(a.rows() - qr.rank()).adjoint();
}

MatrixXd pseudo_inverse(const MatrixXd& a) { return a.completeOrthogonalDecomposition().pseudoInverse(); }

SymmetricEigen symmetric_eigen(const MatrixXd& symmetric) {
  const Eigen::SelfAdjointEigenSolver<MatrixXd> solver(symmetric);
  return {solver.eigenvalues(), solver.eigenvectors()};
}

}  // namespace trimwright

#include "slot_continuous.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace trimwright::slots_detail {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// The barrier problem in real variables: real and imaginary part of each moment, then tau >= max |x_i|^2.
class Barrier {
 public:
  Barrier(const NodeRows& node, const std::vector<Complex>& start) : node_(node), planes_(node.free) {
    const auto rows = node.re->size();
    const auto size = static_cast<Index>(2 * planes_);
    re_.resize(rows, size);
    im_.resize(rows, size);
    for (Index p = 0; p < size / 2; ++p) {
      const PlaneModel& plane = *(*node.planes)[static_cast<std::size_t>(p)];
      re_.col(2 * p) = plane.re;
      im_.col(2 * p) = plane.im;
      re_.col(2 * p + 1) = -plane.im;
      im_.col(2 * p + 1) = plane.re;
    }
    // sum_i |x_i|^2 terms need re^T W re + im^T W im; the rows stacked make that one product.
    point_.resize(size);
    for (std::size_t p = 0; p < planes_; ++p) {
      const Disc& disc = node.discs[p];
      Complex u = (start.size() == planes_ ? start[p] : Complex(0.0)) - disc.centre;
      const double away = std::abs(u);
      if (away > 0.9 * disc.radius) u *= 0.9 * disc.radius / away;
      u += disc.centre;
      point_[static_cast<Index>(2 * p)] = u.real();
      point_[static_cast<Index>(2 * p + 1)] = u.imag();
    }
    tau_ = 1.5 * look(point_) + 1e-300;
  }

  [[nodiscard]] double constraints() const { return static_cast<double>(re_.rows()) + static_cast<double>(planes_); }
  [[nodiscard]] double tau() const { return tau_; }
  [[nodiscard]] double worst2() const { return squares_.maxCoeff(); }

  /// One damped Newton step on tightness * tau + barrier; the Newton decrement squared.
  double step(double tightness) {
    look(point_);
    const Index size = point_.size();
    const ArrayXd slack = tau_ - squares_;
    const ArrayXd inverse = slack.inverse();
    MatrixXd hessian = MatrixXd::Zero(size + 1, size + 1);
    VectorXd gradient = VectorXd::Zero(size + 1);
    // gradients of |x_i|^2, one row each
    const MatrixXd slopes = 2.0 * (re_.array().colwise() * x_re_ + im_.array().colwise() * x_im_).matrix();
    const MatrixXd weighted_re = re_.array().colwise() * (2.0 * inverse);
    const MatrixXd weighted_im = im_.array().colwise() * (2.0 * inverse);
    const MatrixXd scaled = slopes.array().colwise() * inverse;
    auto block = hessian.topLeftCorner(size, size);
    block.noalias() += weighted_re.transpose() * re_;
    block.noalias() += weighted_im.transpose() * im_;
    block.noalias() += scaled.transpose() * scaled;
    hessian.col(size).head(size) = -(scaled.transpose() * inverse.matrix());
    hessian.row(size).head(size) = hessian.col(size).head(size).transpose();
    hessian(size, size) = inverse.square().sum();
    gradient.head(size) = scaled.colwise().sum().transpose();
    gradient[size] = tightness - inverse.sum();
    for (std::size_t p = 0; p < planes_; ++p) add_disc(p, hessian, gradient);
    const VectorXd move = -hessian.ldlt().solve(gradient);
    const double decrement2 = -gradient.dot(move);
    if (!(decrement2 > 0.0) || !std::isfinite(decrement2)) return 0.0;
    advance(move, tightness, decrement2);
    return decrement2;
  }

  /// Weights (sum one) and multipliers at the present point.
  void multipliers(ArrayXd& weights, std::vector<double>& mu) const {
    weights = (tau_ - squares_).inverse();
    const double total = weights.sum();
    weights /= total;
    mu.resize(planes_);
    for (std::size_t p = 0; p < planes_; ++p) mu[p] = 1.0 / (room(p, point_) * total);
  }
  [[nodiscard]] std::vector<Complex> moments() const {
    std::vector<Complex> u(planes_);
    for (std::size_t p = 0; p < planes_; ++p) u[p] = moment(p, point_);
    return u;
  }

 private:
  [[nodiscard]] static Complex moment(std::size_t p, const VectorXd& point) {
    return {point[static_cast<Index>(2 * p)], point[static_cast<Index>(2 * p + 1)]};
  }
  [[nodiscard]] double room(std::size_t p, const VectorXd& point) const {
    const Disc& disc = node_.discs[p];
    return disc.radius * disc.radius - std::norm(moment(p, point) - disc.centre);
  }
  double look(const VectorXd& point) {
    x_re_ = *node_.re + (re_ * point).array();
    x_im_ = *node_.im + (im_ * point).array();
    squares_ = x_re_.square() + x_im_.square();
    return squares_.maxCoeff();
  }
  void add_disc(std::size_t p, MatrixXd& hessian, VectorXd& gradient) const {
    const auto at = static_cast<Index>(2 * p);
    const double inverse = 1.0 / room(p, point_);
    const Complex u = moment(p, point_) - node_.discs[p].centre;
    const Eigen::Vector2d slope(2.0 * u.real() * inverse, 2.0 * u.imag() * inverse);
    gradient.segment<2>(at) += slope;
    hessian.block<2, 2>(at, at) += slope * slope.transpose();
    hessian(at, at) += 2.0 * inverse;
    hessian(at + 1, at + 1) += 2.0 * inverse;
  }
  [[nodiscard]] double value(const VectorXd& point, double tau, double tightness) {
    if (look(point) >= tau) return std::numeric_limits<double>::infinity();
    double sum = tightness * tau - (tau - squares_).log().sum();
    for (std::size_t p = 0; p < planes_; ++p) {
      const double left = room(p, point);
      if (!(left > 0.0)) return std::numeric_limits<double>::infinity();
      sum -= std::log(left);
    }
    return sum;
  }
  void advance(const VectorXd& move, double tightness, double decrement2) {
    const Index size = point_.size();
    const double before = value(point_, tau_, tightness);
    double length = 1.0;
    for (int halving = 0; halving < 40; ++halving, length *= 0.5) {
      const VectorXd point = point_ + length * move.head(size);
      const double tau = tau_ + length * move[size];
      if (value(point, tau, tightness) <= before - 0.1 * length * decrement2) {
        point_ = point;
        tau_ = tau;
        return;
      }
    }
    look(point_);
  }

  const NodeRows& node_;
  std::size_t planes_;
  MatrixXd re_, im_;  ///< rows x real variables
  VectorXd point_;
  double tau_ = 0.0;
  ArrayXd x_re_, x_im_, squares_;
};

}  // namespace

ContinuousOptimum continuous_optimum(const NodeRows& node, double relative, double absolute2,
                                     const std::vector<Complex>& start) {
  constexpr int kMostRounds = 24;
  constexpr int kStepsPerRound = 6;
  Barrier barrier(node, start);
  double tightness = barrier.constraints() / barrier.tau();
  for (int round = 0; round < kMostRounds; ++round) {
    for (int step = 0; step < kStepsPerRound; ++step) {
      if (barrier.step(tightness) < 0.1) break;
    }
    const double gap = barrier.constraints() / tightness;
    if (gap <= relative * barrier.tau() || gap <= absolute2) break;
    tightness *= 10.0;
  }
  ContinuousOptimum optimum;
  optimum.moments = barrier.moments();
  optimum.worst2 = barrier.worst2();
  barrier.multipliers(optimum.weights, optimum.mu);
  return optimum;
}

}  // namespace trimwright::slots_detail

#include "continuous.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>

namespace trimwright::slots_detail {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// The barrier problem in real variables: real and imaginary part of each moment over the radius of its disc,
/// then tau >= max |x_i|^2.
class Barrier {
 public:
  Barrier(const NodeRows& node, bool least_squares, const std::vector<Complex>& start,
          const std::vector<JointCut>& cuts)
      : node_(node), least_squares_(least_squares), planes_(node.free) {
    const auto rows = node.re->size();
    const auto size = static_cast<Index>(2 * planes_);
    re_.resize(rows, size);
    im_.resize(rows, size);
    for (std::size_t p = 0; p < planes_; ++p) {
      const PlaneModel& plane = node.plane(p);
      const double unit = node.discs[p].radius;
      const auto column = static_cast<Index>(2 * p);
      re_.col(column) = unit * plane.re;
      im_.col(column) = unit * plane.im;
      re_.col(column + 1) = -unit * plane.im;
      im_.col(column + 1) = unit * plane.re;
    }
    point_.resize(size);
    for (std::size_t p = 0; p < planes_; ++p) {
      const double unit = node.discs[p].radius;
      discs_.push_back({node.discs[p].centre / unit, 1.0});
      heights_.push_back(heights_of(p));
      const Complex u = start_within_reach(p, start.size() == planes_ ? start[p] / unit : Complex(0.0));
      point_[static_cast<Index>(2 * p)] = u.real();
      point_[static_cast<Index>(2 * p + 1)] = u.imag();
    }
    for (const JointCut& cut : cuts) add_cut(cut);
    start_within_cuts();
    tau_ = (least_squares ? 1.0 : 1.5) * look(point_) + 1e-300;
  }

  [[nodiscard]] double constraints() const {
    const auto sides = static_cast<double>(planes_ * (1 + Reach::kDirections) + sides_.size());
    return least_squares_ ? sides : sides + static_cast<double>(re_.rows());
  }
  [[nodiscard]] double tau() const { return tau_; }
  [[nodiscard]] double objective2() const { return least_squares_ ? squares_.sum() : squares_.maxCoeff(); }

  /// One damped Newton step on tightness * tau + barrier; the Newton decrement squared.
  double step(double tightness) {
    look(point_);
    const Index size = point_.size();
    MatrixXd hessian = MatrixXd::Zero(size + 1, size + 1);
    VectorXd gradient = VectorXd::Zero(size + 1);
    if (least_squares_) {
      add_sum(tightness, hessian, gradient);
    } else {
      add_rows(tightness, hessian, gradient);
    }
    for (std::size_t p = 0; p < planes_; ++p) add_reach(p, hessian, gradient);
    for (const Side& side : sides_) {
      const VectorXd slope = side.normal / (side.height - side.normal.dot(point_));
      gradient.head(size) += slope;
      hessian.topLeftCorner(size, size) += slope * slope.transpose();
    }
    const VectorXd move = -hessian.ldlt().solve(gradient);
    const double decrement2 = -gradient.dot(move);
    if (!(decrement2 > 0.0) || !std::isfinite(decrement2)) return 0.0;
    advance(move, tightness, decrement2);
    return decrement2;
  }

  /// Weights and multipliers at the present point.
  void multipliers(double tightness, ArrayXd& weights, Holds& holds) const {
    weights =
        least_squares_ ? ArrayXd::Constant(squares_.size(), tightness) : (tau_ - squares_).inverse().eval();
    const double total = least_squares_ ? tightness : weights.sum();
    weights /= total;
    holds.resize(planes_);
    for (std::size_t p = 0; p < planes_; ++p) {
      const Complex u = moment(p, point_);
      Complex pull = 0.0;
      for (std::size_t k = 0; k < Reach::kDirections; ++k)
        pull += Reach::directions()[k] / (heights_[p][k] - along(k, u));
      const double unit = node_.discs[p].radius;
      if ((*node_.planes)[p].reach == nullptr) pull = 0.0;
      for (const Side& side : sides_)
        pull += moment(p, side.normal) / (side.height - side.normal.dot(point_));
      holds[p] = {1.0 / (room(p, u) * total * unit * unit), pull / (total * unit)};
    }
  }
  [[nodiscard]] std::vector<Complex> moments() const {
    std::vector<Complex> u(planes_);
    for (std::size_t p = 0; p < planes_; ++p) u[p] = node_.discs[p].radius * moment(p, point_);
    return u;
  }

 private:
  /// normal . point <= height, normal of length one.
  struct Side {
    VectorXd normal;
    double height = 0.0;
  };

  void add_cut(const JointCut& cut) {
    VectorXd normal(point_.size());
    for (std::size_t p = 0; p < planes_; ++p) {
      const Complex direction = node_.discs[p].radius * cut.direction[p];
      const auto at = static_cast<Index>(2 * p);
      normal[at] = direction.real();
      normal[at + 1] = direction.imag();
    }
    const double length = normal.norm();
    if (!(length > 0.0)) return;
    normal /= length;
    sides_.push_back({normal, std::max(cut.height / length, normal.dot(middles()) + 0.01)});
  }
  /// Draws the point towards the middles of the discs until it keeps the cuts.
  void start_within_cuts() {
    const auto keeps_cuts = [&] {
      return std::all_of(sides_.begin(), sides_.end(), [&](const Side& side) {
        return side.height - side.normal.dot(point_) > 1e-3 * (side.height - side.normal.dot(middles()));
      });
    };
    for (int halving = 0; halving < 30 && !keeps_cuts(); ++halving) point_ = 0.5 * (point_ + middles());
  }
  [[nodiscard]] VectorXd middles() const {
    VectorXd middle(point_.size());
    for (std::size_t p = 0; p < planes_; ++p) {
      middle[static_cast<Index>(2 * p)] = discs_[p].centre.real();
      middle[static_cast<Index>(2 * p + 1)] = discs_[p].centre.imag();
    }
    return middle;
  }

  [[nodiscard]] static Complex moment(std::size_t p, const VectorXd& point) {
    return {point[static_cast<Index>(2 * p)], point[static_cast<Index>(2 * p + 1)]};
  }
  [[nodiscard]] static double along(std::size_t k, Complex u) {
    const Complex d = Reach::directions()[k];
    return d.real() * u.real() + d.imag() * u.imag();
  }
  /// Heights of the polygon, nowhere so low that the middle of the disc is not inside: a wider polygon gives
  /// other multipliers, never false ones.
  [[nodiscard]] std::vector<double> heights_of(std::size_t p) const {
    const FreePlane& plane = (*node_.planes)[p];
    std::vector<double> heights;
    if (plane.reach == nullptr)
      return std::vector<double>(Reach::kDirections, std::abs(discs_[p].centre) + 2.0);
    const std::vector<double> obtainable = node_.obtainable(p);
    for (std::size_t k = 0; k < Reach::kDirections; ++k) {
      const double height = plane.reach->along(plane.count, 0, k, obtainable);
      heights.push_back(std::max(height / node_.discs[p].radius, along(k, discs_[p].centre) + 0.01));
    }
    return heights;
  }
  /// A point within reach on the way from its middle to `wish`.
  [[nodiscard]] Complex start_within_reach(std::size_t p, Complex wish) const {
    const Complex middle = discs_[p].centre;
    for (double part = 0.9; part > 1e-3; part *= 0.7) {
      const Complex u = middle + part * (wish - middle);
      if (within(p, u)) return middle + 0.9 * part * (wish - middle);
    }
    return middle;
  }
  [[nodiscard]] bool within(std::size_t p, Complex u) const {
    if (!(room(p, u) > 0.0)) return false;
    for (std::size_t k = 0; k < Reach::kDirections; ++k) {
      if (!(heights_[p][k] > along(k, u))) return false;
    }
    return true;
  }
  [[nodiscard]] double room(std::size_t p, Complex u) const { return 1.0 - std::norm(u - discs_[p].centre); }
  double look(const VectorXd& point) {
    x_re_ = *node_.re + (re_ * point).array();
    x_im_ = *node_.im + (im_ * point).array();
    squares_ = x_re_.square() + x_im_.square();
    return objective2();
  }
  /// tightness * sum_i |x_i|^2; tau plays no part.
  void add_sum(double tightness, MatrixXd& hessian, VectorXd& gradient) const {
    const Index size = point_.size();
    hessian.topLeftCorner(size, size) = 2.0 * tightness * (re_.transpose() * re_ + im_.transpose() * im_);
    hessian(size, size) = 1.0;
    gradient.head(size) =
        2.0 * tightness * (re_.transpose() * x_re_.matrix() + im_.transpose() * x_im_.matrix());
  }
  /// tightness * tau - sum_i log(tau - |x_i|^2).
  void add_rows(double tightness, MatrixXd& hessian, VectorXd& gradient) const {
    const Index size = point_.size();
    const ArrayXd inverse = (tau_ - squares_).inverse();
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
  }
  void add_reach(std::size_t p, MatrixXd& hessian, VectorXd& gradient) const {
    const auto at = static_cast<Index>(2 * p);
    const Complex u = moment(p, point_);
    const double inverse = 1.0 / room(p, u);
    const Complex slope = 2.0 * inverse * (u - discs_[p].centre);
    Complex first = slope;
    double xx = slope.real() * slope.real() + 2.0 * inverse;
    double yy = slope.imag() * slope.imag() + 2.0 * inverse;
    double xy = slope.real() * slope.imag();
    for (std::size_t k = 0; k < Reach::kDirections; ++k) {
      const Complex side = Reach::directions()[k] / (heights_[p][k] - along(k, u));
      first += side;
      xx += side.real() * side.real();
      yy += side.imag() * side.imag();
      xy += side.real() * side.imag();
    }
    gradient[at] += first.real();
    gradient[at + 1] += first.imag();
    hessian(at, at) += xx;
    hessian(at + 1, at + 1) += yy;
    hessian(at, at + 1) += xy;
    hessian(at + 1, at) += xy;
  }
  [[nodiscard]] double value(const VectorXd& point, double tau, double tightness) {
    const double objective = look(point);
    if (!least_squares_ && objective >= tau) return std::numeric_limits<double>::infinity();
    double sum = least_squares_ ? tightness * objective : tightness * tau - (tau - squares_).log().sum();
    for (const Side& side : sides_) {
      const double room_left = side.height - side.normal.dot(point);
      if (!(room_left > 0.0)) return std::numeric_limits<double>::infinity();
      sum -= std::log(room_left);
    }
    for (std::size_t p = 0; p < planes_; ++p) {
      const Complex u = moment(p, point);
      if (!within(p, u)) return std::numeric_limits<double>::infinity();
      sum -= std::log(room(p, u));
      double product = 1.0;  // one logarithm for several sides
      for (std::size_t k = 0; k < Reach::kDirections; ++k) {
        product *= heights_[p][k] - along(k, u);
        if (k % 8 == 7) {
          sum -= std::log(product);
          product = 1.0;
        }
      }
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
        tau_ = least_squares_ ? std::max(objective2(), 1e-300) : tau;
        return;
      }
    }
    look(point_);
  }

  const NodeRows& node_;
  bool least_squares_;
  std::size_t planes_;
  std::vector<Disc> discs_;                   ///< each plane in units of its own radius
  std::vector<std::vector<double>> heights_;  ///< of each plane's reach in every direction, in that unit
  std::vector<Side> sides_;                   ///< what the planes must keep together
  MatrixXd re_, im_;                          ///< rows x real variables
  VectorXd point_;
  double tau_ = 0.0;
  ArrayXd x_re_, x_im_, squares_;
};

}  // namespace

ContinuousOptimum continuous_optimum(const NodeRows& node, bool least_squares, double relative,
                                     double absolute2, const std::vector<Complex>& start,
                                     const std::vector<JointCut>& cuts) {
  constexpr int kMostRounds = 24;
  constexpr int kStepsPerRound = 20;
  Barrier barrier(node, least_squares, start, cuts);
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
  optimum.objective2 = barrier.objective2();
  barrier.multipliers(tightness, optimum.weights, optimum.holds);
  return optimum;
}

}  // namespace trimwright::slots_detail

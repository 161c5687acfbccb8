#include "bound.hpp"

#include <algorithm>
#include <cmath>

#include "joint.hpp"

namespace trimwright::slots_detail {
namespace {

constexpr double kRidge = 1e-13;  ///< of the largest curvature: keeps factors positive, costs nothing visible
constexpr double kMostOffCentre = 20.0;  ///< multiplier of a disc off the origin, in curvatures of its plane
constexpr double kFarBelow = 20.0;       ///< in sizes of the quadratic
constexpr double kWeightFloor = 1e-3;
constexpr double kBoundRounding = 1e-13;  ///< in sizes of the quadratic

}  // namespace

double NextDisc::radius(double limit2) const {
  const double room = limit2 - low;
  if (room < 0.0) return -1.0;
  return curvature > 0.0 ? std::sqrt(room / curvature) : std::numeric_limits<double>::infinity();
}

void DualBound::fill(const NodeRows& node, const ArrayXd& weights) {
  n_ = node.free;
  a_.assign(n_ * n_, 0.0);
  l_.assign(n_ * n_, 0.0);
  b_.assign(n_, 0.0);
  z_.resize(n_);
  d_.resize(n_);
  ridge_.resize(n_);
  minimiser_.resize(n_);
  const ArrayXd& re = *node.re;
  const ArrayXd& im = *node.im;
  c_ = (weights * (re.square() + im.square())).sum();
  size_ = c_;
  double largest = 0.0;
  for (std::size_t j = 0; j < n_; ++j) {
    const PlaneModel& p = node.plane(j);
    b_[j] = {(weights * (p.re * re + p.im * im)).sum(), (weights * (p.re * im - p.im * re)).sum()};
    for (std::size_t k = 0; k < j; ++k) {
      const PlaneModel& q = node.plane(k);
      a_[j * n_ + k] = {(weights * (p.re * q.re + p.im * q.im)).sum(),
                        (weights * (p.re * q.im - p.im * q.re)).sum()};
    }
    const double own = (weights * (p.re.square() + p.im.square())).sum();
    a_[j * n_ + j] = own;
    largest = std::max(largest, own);
  }
  for (double& ridge : ridge_) ridge = largest > 0.0 ? kRidge * largest : 1e-200;
}

void DualBound::add_holds(const NodeRows& node, const Holds& holds) {
  double supports = 0.0;
  double own_support = 0.0;
  used_.assign(n_, {});
  for (std::size_t j = 0; j < n_; ++j) {
    const Disc& disc = node.discs[j];
    const double curvature = a_[j * n_ + j].real();
    const bool silent = curvature <= 10.0 * ridge_[j];  // no row answers: nothing to hold back
    const Complex pull = silent ? 0.0 : holds[j].pull;
    double mu = silent ? ridge_[j] : std::max(holds[j].mu, ridge_[j]);
    // A disc off the origin adds and takes away mu |o|^2: a large mu would drown the rest in rounding.
    if (disc.centre != 0.0) mu = std::min(mu, kMostOffCentre * curvature + ridge_[j]);
    const double extent = std::abs(disc.centre) + disc.radius;
    size_ += curvature * extent * extent;
    a_[j * n_ + j] += mu;
    b_[j] += 0.5 * pull - mu * disc.centre;
    own_ = {mu, pull};
    own_c_ = mu * (std::norm(disc.centre) - disc.radius * disc.radius);
    const double support = pull != 0.0 ? node.support(j, pull) : 0.0;
    own_c_ -= support;
    c_ += own_c_;
    supports += support;
    own_support = support;
    used_[j] = own_;
  }
  priced_more_ = kNone;
  if (node.joint != nullptr) share_stock(node, supports, own_support);
}

/// Puts the support of all planes together in the place of the sum of their supports, where it is smaller.
void DualBound::share_stock(const NodeRows& node, double supports, double own_support) {
  double others = 0.0;
  const double joint = node.joint->support(node, used_, *node.prices, nullptr, nullptr, &others);
  const double gain = std::max(0.0, supports - joint);
  c_ += gain;
  // Without the last plane's pull the others keep theirs, one by one, unless they were held together without
  // it.
  const double kept = own_.pull != 0.0 ? 0.0 : gain;
  if (own_.pull != 0.0) own_c_ += gain;
  if (n_ > 1 && node.together == 0) priced_more_ = supports - own_support - others - kept;
}

void DualBound::factor() {
  for (std::size_t j = 0; j < n_; ++j) {
    double pivot = a_[j * n_ + j].real();
    Complex z = b_[j];
    for (std::size_t k = 0; k < j; ++k) {
      Complex entry = a_[j * n_ + k];
      for (std::size_t h = 0; h < k; ++h) entry -= l_[j * n_ + h] * std::conj(l_[k * n_ + h]) * d_[h];
      entry /= d_[k];
      l_[j * n_ + k] = entry;
      pivot -= std::norm(entry) * d_[k];
      z -= entry * z_[k];
    }
    d_[j] = std::max(pivot, 0.5 * ridge_[j]);
    z_[j] = z;
  }
}

void DualBound::find_minimiser() {
  for (std::size_t j = n_; j-- > 0;) {
    Complex u = -z_[j] / d_[j];
    for (std::size_t i = j + 1; i < n_; ++i) u -= std::conj(l_[i * n_ + j]) * minimiser_[i];
    minimiser_[j] = u;
  }
}

void DualBound::evaluate(const NodeRows& node, const ArrayXd& weights, const Holds& holds) {
  fill(node, weights);
  if (n_ == 0) {
    low_ = c_;
    return;
  }
  add_holds(node, holds);
  factor();
  const std::size_t last = n_ - 1;
  double others = c_;
  for (std::size_t j = 0; j < last; ++j) others -= std::norm(z_[j]) / d_[j];
  low_ = others - std::norm(z_[last]) / d_[last];
  held_ = {low_, d_[last], -z_[last] / d_[last]};
  const Disc& disc = node.discs[last];
  const double curvature = d_[last] - own_.mu;
  const Complex z = z_[last] + own_.mu * disc.centre - 0.5 * own_.pull;
  if (curvature > 10.0 * ridge_[last]) {
    unheld_ = {others - own_c_ - std::norm(z) / curvature, curvature, -z / curvature};
  } else {
    unheld_ = {low_, 0.0, disc.centre};
  }
  // Far below anything the rows can be, a bound is of no use and its disc no longer exact.
  const double far_below = -kFarBelow * size_;
  if (!(low_ > far_below)) held_ = {-std::numeric_limits<double>::infinity(), 0.0, disc.centre};
  if (!(unheld_.low > far_below)) unheld_ = {held_.low, 0.0, disc.centre};
  priced_ = {others - own_c_ + priced_more_ - kBoundRounding * size_, z, std::max(curvature, 0.0)};
  low_ = held_.low;
  find_minimiser();
}

bool DualBound::look_at_minimiser(const NodeRows& node) {
  bool inside = true;
  ArrayXd re = *node.re;
  ArrayXd im = *node.im;
  for (std::size_t j = 0; j < n_; ++j) {
    const PlaneModel& p = node.plane(j);
    const Complex u = minimiser_[j];
    re += p.re * u.real() - p.im * u.imag();
    im += p.re * u.imag() + p.im * u.real();
    const double radius = node.discs[j].radius;
    inside = inside && std::norm(u - node.discs[j].centre) <= radius * radius * (1.0 + 1e-9);
  }
  squares_ = re.square() + im.square();
  return inside;
}

void DualBound::step_holds(const NodeRows& node, Holds& holds) const {
  // With the other planes at their best, u_p - o_p is proportional to 1 / (curvature of p + mu_p), and a
  // pull g moves u_p by -g / 2 over that; the curvature is the inverse of the diagonal of the inverse.
  for (std::size_t j = 0; j < n_; ++j) {
    std::vector<Complex> column(n_, 0.0);
    column[j] = 1.0;
    double inverse = 1.0 / d_[j];
    for (std::size_t i = j + 1; i < n_; ++i) {
      for (std::size_t k = j; k < i; ++k) column[i] -= l_[i * n_ + k] * column[k];
      inverse += std::norm(column[i]) / d_[i];
    }
    Hold& hold = holds[j];
    const double strength = std::abs(hold.pull);
    if (strength > 0.0) {
      const Complex along = hold.pull / strength;
      const double beyond = (std::conj(along) * minimiser_[j]).real() - node.support(j, along);
      hold.pull = along * std::max(0.0, strength + 1.0 * beyond / inverse);
    }
    const double radius = std::max(node.discs[j].radius, 1e-300);
    const double distance = std::abs(minimiser_[j] - node.discs[j].centre);
    hold.mu = std::max(0.0, hold.mu + (strength > 0.0 ? 0.5 : 1.0) * (distance / radius - 1.0) / inverse);
  }
}

void tighten(const NodeRows& node, bool least_squares, double limit2, int most_steps, ArrayXd& weights,
             Holds& holds, DualBound& bound) {
  bound.evaluate(node, weights, holds);
  if (node.free == 0 || weights.size() == 0) return;
  ArrayXd best_weights = weights;
  Holds best_holds = holds;
  double best = bound.low();
  double exponent = 1.0;
  bool at_best = true;
  for (int step = 0; step < most_steps && !(bound.low() > limit2); ++step) {
    const bool inside = bound.look_at_minimiser(node);
    if (inside && (least_squares || bound.squares().maxCoeff() < limit2)) break;
    if (!(bound.squares().sum() > 0.0)) break;
    bound.step_holds(node, holds);
    if (!least_squares) {
      const double floor = kWeightFloor / static_cast<double>(weights.size());
      weights = (weights + floor) * (exponent == 1.0 ? bound.squares() : bound.squares().sqrt());
      weights /= weights.sum();
    }
    bound.evaluate(node, weights, holds);
    at_best = bound.low() >= best;
    if (at_best) {
      best = bound.low();
      best_weights = weights;
      best_holds = holds;
    } else {
      exponent = 0.5;
    }
  }
  if (at_best) return;
  weights = best_weights;
  holds = best_holds;
  bound.evaluate(node, weights, holds);
}

}  // namespace trimwright::slots_detail

#include "slot_bound.hpp"

#include <algorithm>
#include <cmath>

namespace trimwright::slots_detail {
namespace {

constexpr double kRidge = 1e-13;  ///< of the largest curvature: keeps factors positive, costs nothing visible
constexpr double kMostOffCentre = 20.0;  ///< multiplier of a disc off the origin, in curvatures of its plane
constexpr double kWeightFloor = 1e-3;

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
  double largest = 0.0;
  for (std::size_t j = 0; j < n_; ++j) {
    const PlaneModel& p = *(*node.planes)[j];
    b_[j] = {(weights * (p.re * re + p.im * im)).sum(), (weights * (p.re * im - p.im * re)).sum()};
    for (std::size_t k = 0; k < j; ++k) {
      const PlaneModel& q = *(*node.planes)[k];
      a_[j * n_ + k] = {(weights * (p.re * q.re + p.im * q.im)).sum(),
                        (weights * (p.re * q.im - p.im * q.re)).sum()};
    }
    const double own = (weights * (p.re.square() + p.im.square())).sum();
    a_[j * n_ + j] = own;
    largest = std::max(largest, own);
  }
  for (double& ridge : ridge_) ridge = largest > 0.0 ? kRidge * largest : 1e-200;
}

void DualBound::add_discs(const NodeRows& node, const std::vector<double>& mu) {
  for (std::size_t j = 0; j < n_; ++j) {
    double m = std::max(mu[j], ridge_[j]);
    // A disc off the origin adds and takes away m |o|^2: a large m would drown the rest in rounding.
    if (node.discs[j].centre != 0.0) m = std::min(m, kMostOffCentre * a_[j * n_ + j].real() + ridge_[j]);
    a_[j * n_ + j] += m;
    b_[j] -= m * node.discs[j].centre;
    c_ += m * (std::norm(node.discs[j].centre) - node.discs[j].radius * node.discs[j].radius);
    own_mu_ = m;
  }
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

void DualBound::evaluate(const NodeRows& node, const ArrayXd& weights, const std::vector<double>& mu) {
  fill(node, weights);
  if (n_ == 0) {
    low_ = c_;
    return;
  }
  add_discs(node, mu);
  factor();
  const std::size_t last = n_ - 1;
  double others = c_;
  for (std::size_t j = 0; j < last; ++j) others -= std::norm(z_[j]) / d_[j];
  low_ = others - std::norm(z_[last]) / d_[last];
  with_own_ = {low_, d_[last], -z_[last] / d_[last]};
  const Disc& own = node.discs[last];
  const double curvature = d_[last] - own_mu_;
  const double bare = others - own_mu_ * (std::norm(own.centre) - own.radius * own.radius);
  const Complex z = z_[last] + own_mu_ * own.centre;
  if (curvature > 10.0 * ridge_[last]) {
    without_own_ = {bare - std::norm(z) / curvature, curvature, -z / curvature};
  } else {
    without_own_ = {low_, 0.0, own.centre};
  }
  find_minimiser();
}

bool DualBound::look_at_minimiser(const NodeRows& node) {
  bool inside = true;
  ArrayXd re = *node.re;
  ArrayXd im = *node.im;
  for (std::size_t j = 0; j < n_; ++j) {
    const PlaneModel& p = *(*node.planes)[j];
    const Complex u = minimiser_[j];
    re += p.re * u.real() - p.im * u.imag();
    im += p.re * u.imag() + p.im * u.real();
    const double radius = node.discs[j].radius;
    inside = inside && std::norm(u - node.discs[j].centre) <= radius * radius * (1.0 + 1e-9);
  }
  squares_ = re.square() + im.square();
  return inside;
}

void DualBound::step_multipliers(const NodeRows& node, std::vector<double>& mu) const {
  // With the other planes at their best, u_p - o_p is proportional to 1 / (curvature of p + mu_p); the
  // curvature of p is the inverse of its diagonal entry in the inverse matrix.
  for (std::size_t j = 0; j < n_; ++j) {
    std::vector<Complex> column(n_, 0.0);
    column[j] = 1.0;
    double inverse = 1.0 / d_[j];
    for (std::size_t i = j + 1; i < n_; ++i) {
      for (std::size_t k = j; k < i; ++k) column[i] -= l_[i * n_ + k] * column[k];
      inverse += std::norm(column[i]) / d_[i];
    }
    const double radius = std::max(node.discs[j].radius, 1e-300);
    const double distance = std::abs(minimiser_[j] - node.discs[j].centre);
    mu[j] = std::max(0.0, mu[j] + (distance / radius - 1.0) / inverse);
  }
}

void tighten(const NodeRows& node, bool least_squares, double limit2, int most_steps, ArrayXd& weights,
             std::vector<double>& mu, DualBound& bound) {
  bound.evaluate(node, weights, mu);
  if (node.free == 0) return;
  ArrayXd best_weights = weights;
  std::vector<double> best_mu = mu;
  double best = bound.low();
  double exponent = 1.0;
  bool at_best = true;
  for (int step = 0; step < most_steps && !(bound.low() > limit2); ++step) {
    const bool inside = bound.look_at_minimiser(node);
    if (inside && (least_squares || bound.squares().maxCoeff() < limit2)) break;
    if (!(bound.squares().sum() > 0.0)) break;
    bound.step_multipliers(node, mu);
    if (!least_squares) {
      const double floor = kWeightFloor / static_cast<double>(weights.size());
      weights = (weights + floor) * (exponent == 1.0 ? bound.squares() : bound.squares().sqrt());
      weights /= weights.sum();
    }
    bound.evaluate(node, weights, mu);
    at_best = bound.low() >= best;
    if (at_best) {
      best = bound.low();
      best_weights = weights;
      best_mu = mu;
    } else {
      exponent = 0.5;
    }
  }
  if (at_best) return;
  weights = best_weights;
  mu = best_mu;
  bound.evaluate(node, weights, mu);
}

}  // namespace trimwright::slots_detail

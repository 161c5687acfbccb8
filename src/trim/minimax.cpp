#include "trimwright/trim.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <optional>

#include "base/linear_algebra.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

/// Relative gap at which the barrier method stops.
constexpr double gap_wanted = 1e-10;
/// Singular values of the planes' responses below this share of the largest: one plane does what others do.
constexpr double dependent = 1e-10;
/// The same of weighted rows, where nothing but rounding is left.
constexpr double rounding_of_rows = 1e-15;

/// |offset + matrix z| <= radius + slack t in two real dimensions, z the real form (Re u, Im u) of the
/// unknowns.
struct Cone {
  Eigen::Vector2d offset;
  MatrixXd matrix;  ///< 2 x 2P
  double radius = 0.0;
  double slack = 0.0;  ///< 1 where the cone's size is t, 0 where it is fixed
};

Eigen::Vector2d real_form(std::complex<double> value) { return {value.real(), value.imag()}; }

VectorXd real_form(const VectorXcd& u) {
  VectorXd z(2 * u.size());
  z << u.real(), u.imag();
  return z;
}

VectorXcd complex_form(const VectorXd& z) {
  const Index planes = z.size() / 2;
  VectorXcd u(planes);
  u.real() = z.head(planes);
  u.imag() = z.tail(planes);
  return u;
}

/// min c_t t + quadratic |x|^2 over the cones' interior, z and t the unknowns (t last, absent without slack
/// cones).
struct Barrier {
  std::vector<Cone> cones;
  MatrixXd quadratic;  ///< 2P x 2P, the Hessian of the smooth objective in z
  VectorXd linear;     ///< 2P
  bool with_t = false;

  [[nodiscard]] Index size() const { return linear.size() + (with_t ? 1 : 0); }
  [[nodiscard]] double radius(const Cone& cone, const VectorXd& v) const {
    return cone.radius + (with_t ? cone.slack * v(linear.size()) : 0.0);
  }
  [[nodiscard]] Eigen::Vector2d point(const Cone& cone, const VectorXd& v) const {
    return cone.offset + cone.matrix * v.head(linear.size());
  }
  /// (radius^2 - |point|^2), positive inside; negative infinity when the radius is not positive.
  [[nodiscard]] double room(const Cone& cone, const VectorXd& v) const {
    const double r = radius(cone, v);
    if (r <= 0.0) return -std::numeric_limits<double>::infinity();
    const double distance = point(cone, v).norm();
    return (r - distance) * (r + distance);
  }
  [[nodiscard]] double smooth(const VectorXd& v) const {
    const auto z = v.head(linear.size());
    return 0.5 * z.dot(quadratic * z) + linear.dot(z) + (with_t ? v(linear.size()) : 0.0);
  }
};

/// tau * smooth - sum log room; infinity outside.
double value(const Barrier& barrier, const VectorXd& v, double tau) {
  double sum = tau * barrier.smooth(v);
  for (const auto& cone : barrier.cones) {
    const double room = barrier.room(cone, v);
    if (!(room > 0.0)) return std::numeric_limits<double>::infinity();
    sum -= std::log(room);
  }
  return sum;
}

struct Derivatives {
  VectorXd gradient;
  MatrixXd hessian;
};

Derivatives derivatives(const Barrier& barrier, const VectorXd& v, double tau) {
  const Index n = barrier.linear.size();
  Derivatives d{VectorXd::Zero(barrier.size()), MatrixXd::Zero(barrier.size(), barrier.size())};
  d.gradient.head(n) = tau * (barrier.quadratic * v.head(n) + barrier.linear);
  d.hessian.topLeftCorner(n, n) = tau * barrier.quadratic;
  if (barrier.with_t) d.gradient(n) = tau;
  for (const auto& cone : barrier.cones) {
    const double room = barrier.room(cone, v);
    VectorXd slope = VectorXd::Zero(barrier.size());  // of -room
    slope.head(n) = 2.0 * cone.matrix.transpose() * barrier.point(cone, v);
    if (barrier.with_t) slope(n) = -2.0 * cone.slack * barrier.radius(cone, v);
    d.gradient += slope / room;
    d.hessian += slope * slope.transpose() / (room * room);
    d.hessian.topLeftCorner(n, n) += 2.0 / room * cone.matrix.transpose() * cone.matrix;
    if (barrier.with_t) d.hessian(n, n) -= 2.0 * cone.slack * cone.slack / room;
  }
  return d;
}

/// Newton direction; of the smallest size along directions that change nothing.
VectorXd newton_step(const Derivatives& d) {
  const auto [values, vectors] = symmetric_eigen(d.hessian);
  const double floor = 1e-14 * std::max(values(values.size() - 1), 1e-300);
  const VectorXd along = vectors.transpose() * -d.gradient;
  VectorXd step = VectorXd::Zero(along.size());
  for (Index i = 0; i < along.size(); ++i)
    if (values(i) > floor) step(i) = along(i) / values(i);
  return vectors * step;
}

/// Brings v to the centre for this tau, as far as rounding allows.
void centre(const Barrier& barrier, VectorXd& v, double tau) {
  for (int iteration = 0; iteration < 60; ++iteration) {
    const auto d = derivatives(barrier, v, tau);
    const VectorXd step = newton_step(d);
    const double decrement = -d.gradient.dot(step);
    if (!(decrement > 1e-12)) return;
    const double here = value(barrier, v, tau);
    double length = 1.0;
    while (length > 1e-12 && !(value(barrier, v + length * step, tau) <= here - 0.1 * length * decrement))
      length *= 0.5;
    if (length <= 1e-12) return;
    v += length * step;
  }
}

/// lambda_k = 1 / room_k of every cone.
VectorXd multipliers(const Barrier& barrier, const VectorXd& v) {
  VectorXd lambda(static_cast<Index>(barrier.cones.size()));
  for (Index k = 0; k < lambda.size(); ++k)
    lambda(k) = 1.0 / barrier.room(barrier.cones[static_cast<std::size_t>(k)], v);
  return lambda;
}

/// The problem in units in which residual and responses are of order one. Without moment limits its unknowns
/// are what the planes do together, so that planes which act almost alike cost no accuracy.
struct Scaled {
  ContinuousProblem problem;
  double row_scale = 1.0;
  Eigen::MatrixXcd to_moments;  ///< u = to_moments * unknowns
};

/// In the place of columns that may be almost alike: an orthonormal basis of what they span.
void take_basis(Scaled& scaled) {
  const auto [u, v, size] = singular_values(scaled.problem.response);
  const Index kept = (size.array() > dependent * size(0)).count();
  scaled.problem.response = u.leftCols(kept);
  scaled.to_moments = scaled.to_moments * v.leftCols(kept) *
                      size.head(kept).cwiseInverse().cast<std::complex<double>>().asDiagonal();
}

Scaled scaled_problem(const ContinuousProblem& problem) {
  const Index planes = problem.response.cols();
  Scaled scaled{problem, 1.0, Eigen::MatrixXcd::Identity(planes, planes)};
  const double largest = problem.residual.size() > 0 ? problem.residual.cwiseAbs().maxCoeff() : 0.0;
  if (largest > 0.0) scaled.row_scale = largest;
  scaled.problem.residual /= scaled.row_scale;
  for (Index p = 0; p < planes; ++p) {
    const double column = problem.response.col(p).cwiseAbs().maxCoeff();
    const double unit = column > 0.0 ? scaled.row_scale / column : 1.0;
    scaled.to_moments(p, p) = unit;
    scaled.problem.response.col(p) *= unit / scaled.row_scale;
    for (auto& limit : scaled.problem.moment_limits) {
      if (limit.plane != static_cast<int>(p)) continue;
      limit.offset /= unit;
      limit.radius /= unit;
    }
  }
  if (problem.moment_limits.empty() && problem.response.size() > 0) take_basis(scaled);
  return scaled;
}

Cone moment_cone(const MomentLimit& limit, Index planes) {
  Eigen::RowVectorXcd pick = Eigen::RowVectorXcd::Zero(planes);
  pick(limit.plane) = 1.0;
  return {real_form(limit.offset), halves_apart(pick), limit.radius, 0.0};
}

/// A point strictly inside all moment limits, or empty.
std::optional<VectorXcd> interior_point(const ContinuousProblem& problem) {
  const Index planes = problem.response.cols();
  const auto inside = [&](const VectorXcd& u) {
    return std::all_of(problem.moment_limits.begin(), problem.moment_limits.end(),
                       [&](const MomentLimit& limit) {
                         return std::abs(u(limit.plane) + limit.offset) < limit.radius * (1.0 - 1e-12);
                       });
  };
  VectorXcd u = VectorXcd::Zero(planes);
  if (inside(u)) return u;
  // Minimise t with |u_p + o| <= r + t; the radius may be zero or the circles may only touch: then none
  // exists.
  Barrier barrier{{}, MatrixXd::Zero(2 * planes, 2 * planes), VectorXd::Zero(2 * planes), true};
  double t = 1.0;
  for (const auto& limit : problem.moment_limits) {
    barrier.cones.push_back(moment_cone(limit, planes));
    barrier.cones.back().slack = 1.0;
    t = std::max(t, 2.0 * std::abs(limit.offset));
  }
  VectorXd v = VectorXd::Zero(2 * planes + 1);
  v(2 * planes) = t;
  for (double tau = 1.0; tau < 1e10; tau *= 8.0) {
    centre(barrier, v, tau);
    u = complex_form(v.head(2 * planes));
    if (inside(u)) return u;
  }
  return std::nullopt;
}

/// min over free u of sum w_i |x_i|^2 + sum mu_l (|u_l + o_l|^2 - r_l^2): a lower bound for any w, mu >= 0.
///
/// The rows sqrt(w_i) x_i and sqrt(mu_l) (u_l + o_l) less their part along all that u can do. From the
/// singular vectors of the rows, never from their squares: what small singular values can do counts in full,
/// but for those that are rounding.
double certificate(const ContinuousProblem& problem, const VectorXd& w, const VectorXd& mu) {
  const Index rows = problem.residual.size();
  const auto limits = static_cast<Index>(problem.moment_limits.size());
  Eigen::MatrixXcd response = Eigen::MatrixXcd::Zero(rows + limits, problem.response.cols());
  VectorXcd x(rows + limits);
  const VectorXcd root = w.cwiseSqrt().cast<std::complex<double>>();
  response.topRows(rows) = root.asDiagonal() * problem.response;
  x.head(rows) = root.cwiseProduct(problem.residual);
  double taken = 0.0;
  for (Index l = 0; l < limits; ++l) {
    const auto& limit = problem.moment_limits[static_cast<std::size_t>(l)];
    response(rows + l, limit.plane) = std::sqrt(mu(l));
    x(rows + l) = std::sqrt(mu(l)) * limit.offset;
    taken += mu(l) * limit.radius * limit.radius;
  }
  if (response.size() > 0) {
    const auto [u, v, size] = singular_values(response);
    const auto along = u.leftCols((size.array() > rounding_of_rows * size(0)).count());
    x -= along * (along.adjoint() * x).eval();
  }
  return x.squaredNorm() - taken;
}

/// Back in the problem's own units. `size`: of the rows, by the objective.
template <class Size>
ContinuousSolution unscaled(ContinuousSolution solution, const Scaled& scaled,
                            const ContinuousProblem& problem, Size size) {
  solution.moments = scaled.to_moments * solution.moments;
  solution.objective = size(VectorXcd(problem.residual + problem.response * solution.moments));
  solution.bound = std::min(solution.bound * scaled.row_scale, solution.objective);
  if (solution.objective - solution.bound > 1e-6 * std::max(solution.objective, 1e-3 * scaled.row_scale))
    solution.status = SolveStatus::inaccurate;
  return solution;
}

ContinuousSolution not_admissible(Index planes) {
  ContinuousSolution solution;
  solution.status = SolveStatus::no_admissible_moment;
  solution.moments = VectorXcd::Zero(planes);
  solution.objective = solution.bound = std::numeric_limits<double>::infinity();
  return solution;
}

double largest_row(const ContinuousProblem& problem, const VectorXcd& u) {
  if (problem.residual.size() == 0) return 0.0;
  return (problem.residual + problem.response * u).cwiseAbs().maxCoeff();
}

Barrier worst_case_barrier(const ContinuousProblem& problem) {
  const Index planes = problem.response.cols();
  Barrier barrier{{}, MatrixXd::Zero(2 * planes, 2 * planes), VectorXd::Zero(2 * planes), true};
  for (Index i = 0; i < problem.residual.size(); ++i)
    barrier.cones.push_back(
        {real_form(problem.residual(i)), halves_apart(problem.response.row(i)), 0.0, 1.0});
  for (const auto& limit : problem.moment_limits) barrier.cones.push_back(moment_cone(limit, planes));
  return barrier;
}

/// Takes the better of the answer so far and the centre `v`: objective, bound and weights.
void improve(ContinuousSolution& best, const ContinuousProblem& problem, const Barrier& barrier,
             const VectorXd& v) {
  const Index rows = problem.residual.size();
  const VectorXcd u = complex_form(v.head(barrier.linear.size()));
  const double objective = largest_row(problem, u);
  if (objective < best.objective) {
    best.objective = objective;
    best.moments = u;
  }
  const VectorXd lambda = multipliers(barrier, v);
  const double total = lambda.head(rows).sum();
  const VectorXd w = lambda.head(rows) / total;
  const double square = certificate(problem, w, lambda.tail(lambda.size() - rows) / total);
  const double bound = square > 0.0 ? std::sqrt(square) : 0.0;
  if (bound >= best.bound) {
    best.bound = bound;
    best.weights = w;
  }
}

/// In the moments themselves, not in scaled ones, so that the smallest solution is the smallest in g mm.
ContinuousSolution unconstrained_least_squares(const ContinuousProblem& problem) {
  ContinuousSolution solution;
  solution.moments = VectorXcd::Zero(problem.response.cols());
  if (problem.response.size() > 0)
    solution.moments = -smallest_solution(problem.response, problem.residual, 1e-12);
  solution.objective = solution.bound = (problem.residual + problem.response * solution.moments).norm();
  return solution;
}

}  // namespace

ContinuousSolution minimise_worst_ratio(const ContinuousProblem& problem) {
  assert(problem.residual.size() == problem.response.rows());
  const Index rows = problem.residual.size();
  const Scaled scaled = scaled_problem(problem);
  const auto start = interior_point(scaled.problem);
  if (!start) return not_admissible(problem.response.cols());
  if (rows == 0) return {SolveStatus::solved, VectorXcd::Zero(problem.response.cols()), 0.0, 0.0, VectorXd()};

  const Barrier barrier = worst_case_barrier(scaled.problem);
  VectorXd v(2 * start->size() + 1);
  v << real_form(*start), 1.1 * largest_row(scaled.problem, *start) + 1e-6;
  ContinuousSolution best;
  best.moments = *start;
  best.objective = largest_row(scaled.problem, *start);
  best.weights = VectorXd::Constant(rows, 1.0 / static_cast<double>(rows));
  const auto close = [&] {
    return best.objective - best.bound <= gap_wanted * std::max(best.objective, 1e-3);
  };
  for (double tau = 1.0; tau < 1e14 && !close(); tau *= 10.0) {
    centre(barrier, v, tau);
    improve(best, scaled.problem, barrier, v);
  }
  return unscaled(std::move(best), scaled, problem,
                  [](const VectorXcd& x) { return x.cwiseAbs().maxCoeff(); });
}

ContinuousSolution minimise_least_squares(const ContinuousProblem& problem) {
  assert(problem.residual.size() == problem.response.rows());
  const Index planes = problem.response.cols();
  const Scaled scaled = scaled_problem(problem);
  const auto& p = scaled.problem;
  const auto start = interior_point(p);
  if (!start) return not_admissible(planes);

  ContinuousSolution free = unconstrained_least_squares(problem);
  const auto& limits = problem.moment_limits;
  const bool inside = std::all_of(limits.begin(), limits.end(), [&](const MomentLimit& limit) {
    return std::abs(free.moments(limit.plane) + limit.offset) <= limit.radius;
  });
  if (inside) return free;

  Barrier barrier{{}, MatrixXd::Zero(2 * planes, 2 * planes), VectorXd::Zero(2 * planes), false};
  for (Index i = 0; i < p.residual.size(); ++i) {
    const MatrixXd row = halves_apart(p.response.row(i));
    barrier.quadratic += 2.0 * row.transpose() * row;
    barrier.linear += 2.0 * row.transpose() * real_form(p.residual(i));
  }
  for (const auto& limit : p.moment_limits) barrier.cones.push_back(moment_cone(limit, planes));
  VectorXd v = real_form(*start);
  ContinuousSolution best;
  const VectorXd ones = VectorXd::Ones(p.residual.size());
  for (double tau = 1.0; tau < 1e14; tau *= 10.0) {
    centre(barrier, v, tau);
    best.moments = complex_form(v);
    best.objective = (p.residual + p.response * best.moments).norm();
    const double square = certificate(p, ones, multipliers(barrier, v) / tau);
    best.bound = std::max(best.bound, square > 0.0 ? std::sqrt(square) : 0.0);
    if (best.objective - best.bound <= gap_wanted * std::max(best.objective, 1e-3)) break;
  }
  return unscaled(std::move(best), scaled, problem, [](const VectorXcd& x) { return x.norm(); });
}

}  // namespace trimwright

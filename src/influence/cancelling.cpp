#include "cancelling.hpp"

#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>

#include "base/linear_algebra.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int chain_count = 4;
constexpr int points_before = 150;  // of each chain, not kept
constexpr int points_kept = 400;

/// x(V) and its covariance as functions of e = (1, Re V_1, Im V_1, ...): x = expected e, and the covariance a
/// quadratic form of matrices in e.
struct Quadratic {
  MatrixXd expected;            ///< 2 rows x entries of e
  std::vector<MatrixXd> parts;  ///< of e_a e_b, a <= b
  double log_weight = 0.0;
};

/// Where component `k` of x(V) takes its part with e_a from among the unknowns, and the sign.
std::pair<Index, double> source(Index a, Index k, Index entries) {
  const Index row = k / 2, component = k % 2;
  if (a == 0) return {2 * row * entries + component, 1.0};
  const Index at = 2 * (row * entries + 1 + (a - 1) / 2);
  if (a % 2 == 1) return {at + component, 1.0};              // C Re V
  return {at + 1 - component, component == 0 ? -1.0 : 1.0};  // i C Im V
}

Quadratic quadratic_of(const KnownNoise& known, Index rows) {
  const Index entries = known.mean.size() / (2 * rows), directions = 2 * entries - 1;
  Quadratic quadratic{MatrixXd(2 * rows, directions), {}, known.log_weight};
  for (Index a = 0; a < directions; ++a) {
    for (Index k = 0; k < 2 * rows; ++k) {
      const auto [at, sign] = source(a, k, entries);
      quadratic.expected(k, a) = sign * known.mean(at);
    }
    for (Index b = a; b < directions; ++b) {
      MatrixXd part(2 * rows, 2 * rows);
      for (Index k = 0; k < 2 * rows; ++k)
        for (Index l = 0; l < 2 * rows; ++l) {
          const auto [at, sign] = source(a, k, entries);
          const auto [other, other_sign] = source(b, l, entries);
          part(k, l) = sign * other_sign * known.covariance(at, other);
        }
      quadratic.parts.push_back(a == b ? part : MatrixXd(part + part.transpose()));
    }
  }
  return quadratic;
}

struct Target {
  std::vector<Quadratic> known;
  VectorXd squared_limits;  ///< per real component
  std::optional<LeftByFleet> fleet;
  VectorXd wide;  ///< precision of the prior on (Re V, Im V, ...)
};

/// Cov[x(V)] + left^2 limits^2.
MatrixXd spread_at(const Target& target, std::size_t which, const VectorXd& e, double left) {
  MatrixXd spread = (left * left * target.squared_limits).asDiagonal();
  std::size_t at = 0;
  const auto& parts = target.known[which].parts;
  for (Index a = 0; a < e.size(); ++a)
    for (Index b = a; b < e.size(); ++b, ++at) spread += (e(a) * e(b)) * parts[at];
  return spread;
}

VectorXd with_one(const VectorXd& v) {
  VectorXd e(1 + v.size());
  e << 1.0, v;
  return e;
}

struct Point {
  VectorXd v;  ///< (Re V_1, Im V_1, ...)
  double log_left = 0.0;
  std::size_t which = 0;
  double density = 0.0;
};

double log_density(const Target& target, const Point& point) {
  const VectorXd e = with_one(point.v);
  const double left = std::exp(point.log_left);
  const MatrixXd factor = cholesky(spread_at(target, point.which, e, left));
  const MatrixXd x = target.known[point.which].expected * e;
  return target.known[point.which].log_weight - factor.diagonal().array().log().sum() -
         0.5 * lower_solve(factor, x).squaredNorm() + log_left_density(left, target.fleet) + point.log_left -
         0.5 * target.wide.dot(point.v.cwiseAbs2());
}

/// Normal approximation of V where noise and the size of d are known, linear about `reference`.
struct Approximation {
  VectorXd mean;
  MatrixXd precision_factor;  ///< lower
};

Approximation approximation_at(const Target& target, std::size_t which, double left,
                               const VectorXd& reference) {
  const MatrixXd factor = cholesky(spread_at(target, which, with_one(reference), left));
  const MatrixXd white = lower_solve(factor, target.known[which].expected);
  const MatrixXd slope = white.rightCols(reference.size());
  MatrixXd precision = slope.transpose() * slope;
  precision.diagonal() += target.wide;
  Approximation near;
  near.mean = -positive_solve(precision, slope.transpose() * white.col(0));
  near.precision_factor = cholesky(precision);
  return near;
}

VectorXd cancelling_unbalance(const Target& target, double left) {
  constexpr int rounds = 6;
  VectorXd v = VectorXd::Zero(target.wide.size());
  for (int i = 0; i < rounds; ++i) v = approximation_at(target, 0, left, v).mean;
  return v;
}

Target target_of(const std::vector<KnownNoise>& known, const VectorXd& limits,
                 const std::optional<LeftByFleet>& fleet) {
  constexpr double wide = 20.0;  // times what would change some row by as much as any reads
  Target target;
  target.fleet = fleet;
  target.squared_limits.resize(2 * limits.size());
  for (Index i = 0; i < limits.size(); ++i)
    target.squared_limits.segment<2>(2 * i).setConstant(limits(i) * limits(i));
  for (const auto& one : known) target.known.push_back(quadratic_of(one, limits.size()));
  const VectorXd over = target.squared_limits.cwiseSqrt().cwiseInverse();
  const MatrixXd scaled = over.asDiagonal() * target.known.front().expected;
  const double largest = scaled.col(0).cwiseAbs().maxCoeff() + 1e-300;
  target.wide =
      (scaled.rightCols(scaled.cols() - 1).colwise().lpNorm<Eigen::Infinity>().transpose() / (wide * largest))
          .cwiseAbs2();
  return target;
}

struct Walk {
  const Target& target;
  const VectorXd& reference;
  boost::random::mt19937_64 generator;
  boost::random::normal_distribution<double> normal{};
  boost::random::uniform_01<double> uniform{};

  VectorXd normals(Index n) {
    VectorXd z(n);
    for (double& one : z) one = normal(generator);
    return z;
  }

  bool accept(Point& at, Point next, double log_ratio_of_proposals) {
    next.density = log_density(target, next);
    if (!(std::log(uniform(generator)) < next.density - at.density + log_ratio_of_proposals)) return false;
    at = std::move(next);
    return true;
  }

  void change_size(Point& at) {
    Point next = at;
    next.log_left += (uniform(generator) < 0.5 ? 0.4 : 1.2) * normal(generator);
    accept(at, next, 0.0);
  }

  void change_noise(Point& at) {
    if (target.known.size() < 2) return;
    Point next = at;
    next.which =
        std::min(static_cast<std::size_t>(uniform(generator) * static_cast<double>(target.known.size())),
                 target.known.size() - 1);
    accept(at, next, 0.0);
  }

  /// From Student's t about the approximation, wherever the chain stands; then a step from there.
  void change_unbalance(Point& at) {
    constexpr double freedom = 5.0, wider = 1.1;
    const auto near = approximation_at(target, at.which, std::exp(at.log_left), reference);
    const Index n = at.v.size();
    const auto upper = near.precision_factor.transpose().triangularView<Eigen::Upper>();
    const auto log_proposal = [&](const VectorXd& v) {
      const double distance = (upper * (v - near.mean)).squaredNorm() / (wider * wider * freedom);
      return -0.5 * (freedom + static_cast<double>(n)) * std::log1p(distance);
    };
    boost::random::chi_squared_distribution<double> chi(freedom);
    Point next = at;
    next.v = near.mean + wider * std::sqrt(freedom / chi(generator)) * upper.solve(normals(n));
    accept(at, next, log_proposal(at.v) - log_proposal(next.v));
    next = at;
    next.v += 2.4 / std::sqrt(static_cast<double>(n)) * upper.solve(normals(n));
    accept(at, next, 0.0);
  }
};

std::vector<Point> chain(const Target& target, const VectorXd& reference, std::uint64_t seed, double start) {
  Walk walk{target, reference, boost::random::mt19937_64(seed)};
  Point at{reference, std::log(start), 0, 0.0};
  const auto near = approximation_at(target, 0, start, reference);
  at.v += 2.0 * near.precision_factor.transpose().triangularView<Eigen::Upper>().solve(
                    walk.normals(reference.size()));
  at.density = log_density(target, at);
  std::vector<Point> points;
  for (int i = 0; i < points_before + points_kept; ++i) {
    for (int twice = 0; twice < 2; ++twice) {
      walk.change_size(at);
      walk.change_noise(at);
    }
    walk.change_unbalance(at);
    if (i >= points_before) points.push_back(at);
  }
  return points;
}

/// X0 and C given the rest: a draw without the knowledge that x(V) is d, moved to agree with it (for this way
/// to condition see A. G. Journel and Ch. J. Huijbregts, *Mining Geostatistics*, 1978).
VectorXd unknowns_given(const Target& target, const KnownNoise& known, const MatrixXd& root,
                        const Point& point, Walk& walk) {
  const Index n = known.mean.size(), seen = target.squared_limits.size();
  const Index entries = n / seen;
  const VectorXd e = with_one(point.v);
  const double left = std::exp(point.log_left);
  MatrixXd to_x = MatrixXd::Zero(seen, n);
  for (Index k = 0; k < seen; ++k)
    for (Index a = 0; a < e.size(); ++a) {
      const auto [at, sign] = source(a, k, entries);
      to_x(k, at) += sign * e(a);
    }
  const VectorXd free = known.mean + root.triangularView<Eigen::Lower>() * walk.normals(n);
  const VectorXd d = left * target.squared_limits.cwiseSqrt().cwiseProduct(walk.normals(seen));
  const MatrixXd off = to_x * free - d;
  const MatrixXd weight = positive_solve(spread_at(target, point.which, e, left), off);
  return free - known.covariance * (to_x.transpose() * weight);
}

void tell_convergence(const std::vector<std::vector<Point>>& walks, PosteriorDraws& draws) {
  const Index quantities = 2 + walks.front().front().v.size();
  draws.effective_draws = static_cast<double>(chain_count * points_kept);
  for (Index q = 0; q < quantities; ++q) {
    MatrixXd values(points_kept, chain_count);
    for (Index c = 0; c < chain_count; ++c)
      for (Index i = 0; i < points_kept; ++i) {
        const Point& point = walks[static_cast<std::size_t>(c)][static_cast<std::size_t>(i)];
        values(i, c) = q == 0 ? point.log_left : q == 1 ? point.density : point.v(q - 2);
      }
    const auto told = convergence_of(values);
    draws.split_r_hat = std::max(draws.split_r_hat, told.split_r_hat);
    draws.effective_draws = std::min(draws.effective_draws, told.effective_draws);
  }
}

}  // namespace

double log_left_density(double left, const std::optional<LeftByFleet>& fleet) {
  if (!fleet) return -std::log1p(std::pow(left / unknown_left, 2));
  // The variance is scaled inverse chi-squared.
  const double nu = fleet->degrees_of_freedom;
  return -(nu + 1.0) * std::log(left) - 0.5 * nu * std::pow(fleet->size / left, 2);
}

PosteriorDraws cancelling_draws(const std::vector<KnownNoise>& known, const VectorXd& limits,
                                const std::optional<LeftByFleet>& fleet, std::uint64_t seed) {
  const Target target = target_of(known, limits, fleet);
  const VectorXd reference = cancelling_unbalance(target, fleet ? fleet->size : unknown_left);
  constexpr double starts[chain_count] = {0.01, 0.03, 0.1, 0.3};
  std::vector<std::vector<Point>> walks;
  for (int c = 0; c < chain_count; ++c)
    walks.push_back(chain(target, reference, seed + static_cast<std::uint64_t>(c), starts[c]));

  PosteriorDraws draws;
  draws.unknowns.resize(known.front().mean.size(), chain_count * points_kept);
  draws.left.resize(chain_count * points_kept);
  std::vector<MatrixXd> roots(known.size());
  for (std::size_t j = 0; j < known.size(); ++j) {
    draws.noise.push_back(known[j].noise);
    MatrixXd covariance = known[j].covariance;
    covariance.diagonal() *= 1.0 + 1e-10;  // coefficients that a prior ties together leave it singular
    roots[j] = cholesky(covariance);
  }
  Walk walk{target, reference, boost::random::mt19937_64(seed + chain_count)};
  Index column = 0;
  for (const auto& points : walks)
    for (const auto& point : points) {
      draws.unknowns.col(column) =
          unknowns_given(target, known[point.which], roots[point.which], point, walk);
      draws.noise_of.push_back(point.which);
      draws.left(column++) = std::exp(point.log_left);
    }
  tell_convergence(walks, draws);
  return draws;
}

VectorXd left_log_likelihood(const KnownNoise& known, const VectorXd& limits, const VectorXd& left) {
  const Target target = target_of({known}, limits, std::nullopt);
  VectorXd likelihood(left.size());
  for (Index i = 0; i < left.size(); ++i) {
    const VectorXd v = cancelling_unbalance(target, left(i));
    const auto near = approximation_at(target, 0, left(i), v);
    const Point point{v, std::log(left(i)), 0, 0.0};
    likelihood(i) = log_density(target, point) - log_left_density(left(i), std::nullopt) - point.log_left -
                    near.precision_factor.diagonal().array().log().sum();
  }
  return likelihood;
}

}  // namespace trimwright

#include "cancelling.hpp"

#include <algorithm>
#include <boost/random/chi_squared_distribution.hpp>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>
#include <memory>

#include "base/crew.hpp"
#include "base/linear_algebra.hpp"
#include "quadratic.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int chain_count = 4;

/// Points that each chain keeps: fewer where each costs more, at three eighths as many before.
int points_kept(Index rows) {
  constexpr double most = 400.0, least = 60.0, rows_for_most = 20.0;
  const double share = rows_for_most / static_cast<double>(rows);
  return static_cast<int>(std::clamp(most * share * share, least, most));
}

struct Target {
  std::vector<std::vector<Index>> blocks;     ///< rows that are tied together
  std::vector<std::vector<Quadratic>> known;  ///< of each noise, of each block
  std::vector<double> log_weight;             ///< of each noise
  VectorXd squared_limits;                    ///< per real component
  std::optional<LeftByFleet> fleet;
  VectorXd wide;  ///< precision of the prior on (Re V, Im V, ...)
};

VectorXd with_one(const VectorXd& v) {
  VectorXd e(1 + v.size());
  e << 1.0, v;
  return e;
}

/// Cov[x(V)] of each block, its lower triangle.
using Spreads = std::vector<MatrixXd>;

Spreads spreads_at(const Target& target, std::size_t which, const VectorXd& v) {
  const VectorXd products = products_of(with_one(v));
  Spreads spreads;
  for (const Quadratic& known : target.known[which]) spreads.push_back(known.spread(products));
  return spreads;
}

/// The same plus left^2 limits^2, of the rows of a block.
MatrixXd with_left(const Target& target, MatrixXd spread, std::size_t block, double left) {
  const auto& rows = target.blocks[block];
  for (std::size_t i = 0; i < rows.size(); ++i)
    spread.diagonal().segment<2>(2 * static_cast<Index>(i)) +=
        left * left * target.squared_limits.segment<2>(2 * rows[i]);
  return spread;
}

struct Point {
  VectorXd v;  ///< (Re V_1, Im V_1, ...)
  double log_left = 0.0;
  std::size_t which = 0;
  std::shared_ptr<const Spreads> spreads;  ///< at v, of the noise `which`
  double density = 0.0;

  void find_spreads(const Target& target) {
    spreads = std::make_shared<const Spreads>(spreads_at(target, which, v));
  }
};

double log_density(const Target& target, const Point& point) {
  const VectorXd e = with_one(point.v);
  const double left = std::exp(point.log_left);
  double density = target.log_weight[point.which] + log_left_density(left, target.fleet) + point.log_left -
                   0.5 * target.wide.dot(point.v.cwiseAbs2());
  for (std::size_t b = 0; b < target.blocks.size(); ++b) {
    const MatrixXd factor = cholesky(with_left(target, (*point.spreads)[b], b, left));
    const MatrixXd x = target.known[point.which][b].expected * e;
    density -= factor.diagonal().array().log().sum() + 0.5 * lower_solve(factor, x).squaredNorm();
  }
  return density;
}

/// Normal approximation of V where noise and the size of d are known, linear about where `spreads` are found.
struct Approximation {
  VectorXd mean;
  MatrixXd precision_factor;  ///< lower
};

Approximation approximation_at(const Target& target, std::size_t which, double left, const Spreads& spreads) {
  MatrixXd precision = target.wide.asDiagonal();
  VectorXd moment = VectorXd::Zero(target.wide.size());
  for (std::size_t b = 0; b < target.blocks.size(); ++b) {
    const MatrixXd factor = cholesky(with_left(target, spreads[b], b, left));
    const MatrixXd white = lower_solve(factor, target.known[which][b].expected);
    const MatrixXd slope = white.rightCols(moment.size());
    precision += slope.transpose() * slope;
    moment += slope.transpose() * white.col(0);
  }
  Approximation near;
  near.mean = -positive_solve(precision, moment);
  near.precision_factor = cholesky(precision);
  return near;
}

VectorXd cancelling_unbalance(const Target& target, double left) {
  constexpr int rounds = 6;
  VectorXd v = VectorXd::Zero(target.wide.size());
  for (int i = 0; i < rounds; ++i) v = approximation_at(target, 0, left, spreads_at(target, 0, v)).mean;
  return v;
}

/// Where the proposals' approximations are linear about, whatever the noise.
struct Reference {
  VectorXd v;
  std::vector<Spreads> spreads;  ///< of each noise
};

Target target_of(const std::vector<KnownNoise>& known, const VectorXd& limits,
                 const std::optional<LeftByFleet>& fleet) {
  constexpr double wide = 20.0;  // times what would change some row by as much as any reads
  Target target;
  target.fleet = fleet;
  target.squared_limits.resize(2 * limits.size());
  for (Index i = 0; i < limits.size(); ++i)
    target.squared_limits.segment<2>(2 * i).setConstant(limits(i) * limits(i));
  const Index entries = known.front().mean.size() / (2 * limits.size());
  target.blocks = tied_rows(known, limits.size());
  for (const auto& one : known) {
    target.log_weight.push_back(one.log_weight);
    target.known.emplace_back();
    for (const auto& rows : target.blocks) target.known.back().push_back(quadratic_of(one, rows, entries));
  }
  double largest = 1e-300;
  VectorXd strongest = VectorXd::Zero(2 * entries - 2);
  for (std::size_t b = 0; b < target.blocks.size(); ++b)
    for (std::size_t i = 0; i < target.blocks[b].size(); ++i) {
      const MatrixXd effect =
          target.known.front()[b].expected.middleRows<2>(2 * static_cast<Index>(i)).cwiseAbs() /
          limits(target.blocks[b][i]);
      largest = std::max(largest, effect.col(0).maxCoeff());
      strongest = strongest.cwiseMax(effect.rightCols(strongest.size()).colwise().maxCoeff().transpose());
    }
  target.wide = (strongest / (wide * largest)).cwiseAbs2();
  return target;
}

struct Walk {
  const Target& target;
  const Reference& reference;
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
    const double step = uniform(generator) < 0.5 ? 0.4 : 1.2;
    next.log_left += step * normal(generator);
    accept(at, next, 0.0);
  }

  void change_noise(Point& at) {
    if (target.known.size() < 2) return;
    Point next = at;
    next.which =
        std::min(static_cast<std::size_t>(uniform(generator) * static_cast<double>(target.known.size())),
                 target.known.size() - 1);
    if (next.which != at.which) next.find_spreads(target);
    accept(at, next, 0.0);
  }

  /// From Student's t about the approximation, wherever the chain stands; then a step from there.
  void change_unbalance(Point& at) {
    constexpr double freedom = 5.0, wider = 1.1;
    const auto near = approximation_at(target, at.which, std::exp(at.log_left), reference.spreads[at.which]);
    const Index n = at.v.size();
    const auto upper = near.precision_factor.transpose().triangularView<Eigen::Upper>();
    const auto log_proposal = [&](const VectorXd& v) {
      const double distance = (upper * (v - near.mean)).squaredNorm() / (wider * wider * freedom);
      return -0.5 * (freedom + static_cast<double>(n)) * std::log1p(distance);
    };
    boost::random::chi_squared_distribution<double> chi(freedom);
    Point next = at;
    const double stretch =
        wider * std::sqrt(freedom / chi(generator));  // drawn before the normals by any compiler
    next.v = near.mean + stretch * upper.solve(normals(n));
    next.find_spreads(target);
    accept(at, next, log_proposal(at.v) - log_proposal(next.v));
    next = at;
    next.v += 2.4 / std::sqrt(static_cast<double>(n)) * upper.solve(normals(n));
    next.find_spreads(target);
    accept(at, next, 0.0);
  }
};

/// One chain; one point in `thinned` is kept.
std::vector<Point> chain(const Target& target, const Reference& reference, std::uint64_t seed, double start,
                         int thinned) {
  Walk walk{target, reference, boost::random::mt19937_64(seed)};
  Point at{reference.v, std::log(start), 0, {}, 0.0};
  const auto near = approximation_at(target, 0, start, reference.spreads[0]);
  at.v +=
      2.0 * near.precision_factor.transpose().triangularView<Eigen::Upper>().solve(walk.normals(at.v.size()));
  at.find_spreads(target);
  at.density = log_density(target, at);
  std::vector<Point> points;
  const int kept = points_kept(target.squared_limits.size() / 2), before = 3 * kept / 8;
  for (int i = 0; i < (before + kept) * thinned; ++i) {
    for (int twice = 0; twice < 2; ++twice) {
      walk.change_size(at);
      walk.change_noise(at);
    }
    walk.change_unbalance(at);
    if (i >= before * thinned && i % thinned == 0) points.push_back(at);
  }
  return points;
}

/// Where (X0, C) of some rows stand among the unknowns.
std::vector<Index> unknowns_of(const std::vector<Index>& rows, Index entries) {
  std::vector<Index> own;
  for (const Index row : rows)
    for (Index q = 0; q < 2 * entries; ++q) own.push_back(2 * entries * row + q);
  return own;
}

/// X0 and C of a block as what is known without V and d has them.
struct Free {
  std::vector<Index> own;  ///< where they stand among the unknowns
  VectorXd mean;
  MatrixXd covariance, root;
};

std::vector<Free> free_of(const KnownNoise& known, const Target& target, Index entries) {
  std::vector<Free> all;
  for (const auto& rows : target.blocks) {
    Free free;
    free.own = unknowns_of(rows, entries);
    free.mean = known.mean(free.own);
    free.covariance = known.covariance(free.own, free.own);
    MatrixXd regular = free.covariance;
    regular.diagonal() *= 1.0 + 1e-10;  // coefficients that a prior ties together leave it singular
    free.root = cholesky(regular);
    all.push_back(std::move(free));
  }
  return all;
}

/// X0 and C given the rest: a draw without the knowledge that x(V) is d, moved to agree with it (for this way
/// to condition see A. G. Journel and Ch. J. Huijbregts, *Mining Geostatistics*, 1978).
VectorXd unknowns_given(const Target& target, const std::vector<Free>& known, const Point& point,
                        Walk& walk) {
  const Index seen = target.squared_limits.size();
  const VectorXd e = with_one(point.v);
  const Index entries = (e.size() + 1) / 2;
  const double left = std::exp(point.log_left);
  const VectorXd free_normals = walk.normals(seen * entries), normals = walk.normals(seen);
  VectorXd drawn(seen * entries);
  for (std::size_t b = 0; b < target.blocks.size(); ++b) {
    const auto& rows = target.blocks[b];
    const Index n = 2 * static_cast<Index>(rows.size());
    MatrixXd to_x = MatrixXd::Zero(n, n * entries);
    VectorXd d(n);
    for (Index k = 0; k < n; ++k) {
      const Index component = 2 * rows[static_cast<std::size_t>(k / 2)] + k % 2;
      d(k) = left * std::sqrt(target.squared_limits(component)) * normals(component);
      for (Index a = 0; a < e.size(); ++a) {
        const auto [at, sign] = source(a, k, entries);
        to_x(k, at) += sign * e(a);
      }
    }
    const Free& own = known[b];
    const VectorXd free =
        own.mean + own.root.triangularView<Eigen::Lower>() * VectorXd(free_normals(own.own));
    const MatrixXd off = to_x * free - d;
    const MatrixXd weight = positive_solve(with_left(target, (*point.spreads)[b], b, left), off);
    drawn(own.own) = free - own.covariance * (to_x.transpose() * weight);
  }
  return drawn;
}

void tell_convergence(const std::vector<std::vector<Point>>& walks, PosteriorDraws& draws) {
  const Index quantities = 2 + walks.front().front().v.size();
  const auto kept = static_cast<Index>(walks.front().size());
  draws.split_r_hat = 1.0;
  draws.effective_draws = static_cast<double>(chain_count * kept);
  for (Index q = 0; q < quantities; ++q) {
    MatrixXd values(kept, chain_count);
    for (Index c = 0; c < chain_count; ++c)
      for (Index i = 0; i < kept; ++i) {
        const Point& point = walks[static_cast<std::size_t>(c)][static_cast<std::size_t>(i)];
        values(i, c) = q == 0 ? point.log_left : q == 1 ? point.density : point.v(q - 2);
      }
    const auto told = convergence_of(values);
    draws.split_r_hat = std::max(draws.split_r_hat, told.split_r_hat);
    draws.effective_draws = std::min(draws.effective_draws, told.effective_draws);
  }
}

}  // namespace

int draws_that_fit(std::size_t rows, std::size_t tied, std::size_t planes, int most) {
  constexpr double memory = 1e8;  // numbers
  const auto n = static_cast<double>(rows), entries = static_cast<double>(planes + 1);
  const double one = (16.0 * n * static_cast<double>(tied) + 4.0 * n * n) * entries * entries;
  return static_cast<int>(std::min<double>(most, memory / one));
}

double log_left_density(double left, const std::optional<LeftByFleet>& fleet) {
  if (!fleet) return -std::log1p(std::pow(left / unknown_left, 2));
  // The variance is scaled inverse chi-squared.
  const double nu = fleet->degrees_of_freedom;
  return -(nu + 1.0) * std::log(left) - 0.5 * nu * std::pow(fleet->size / left, 2);
}

PosteriorDraws cancelling_draws(const std::vector<KnownNoise>& known, const VectorXd& limits,
                                const std::optional<LeftByFleet>& fleet, std::uint64_t seed) {
  const Target target = target_of(known, limits, fleet);
  Reference reference{cancelling_unbalance(target, fleet ? fleet->size : unknown_left), {}};
  for (std::size_t which = 0; which < known.size(); ++which)
    reference.spreads.push_back(spreads_at(target, which, reference.v));
  constexpr double starts[chain_count] = {0.01, 0.03, 0.1, 0.3};
  constexpr Index rows_for_longest = 20;
  PosteriorDraws draws;
  std::vector<std::vector<Point>> walks(chain_count);
  // Where the chains do not agree yet, longer ones of which as many points are kept.
  for (const int thinned : {1, 4, 16}) {
    if (thinned > 4 && limits.size() > rows_for_longest) break;
    each_together(chain_count,
                  [&](std::size_t c) { walks[c] = chain(target, reference, seed + c, starts[c], thinned); });
    tell_convergence(walks, draws);
    if (draws.split_r_hat <= agreeing_r_hat) break;
  }
  const Index count = chain_count * static_cast<Index>(walks.front().size());
  draws.unknowns.resize(known.front().mean.size(), count);
  draws.left.resize(count);
  const Index entries = known.front().mean.size() / (2 * limits.size());
  std::vector<std::vector<Free>> free;
  for (const KnownNoise& one : known) {
    draws.noise.push_back(one.noise);
    free.push_back(free_of(one, target, entries));
  }
  Walk walk{target, reference, boost::random::mt19937_64(seed + chain_count)};
  Index column = 0;
  for (const auto& points : walks)
    for (const auto& point : points) {
      draws.unknowns.col(column) = unknowns_given(target, free[point.which], point, walk);
      draws.noise_of.push_back(point.which);
      draws.left(column++) = std::exp(point.log_left);
    }
  return draws;
}

VectorXd left_log_likelihood(const KnownNoise& known, const VectorXd& limits, const VectorXd& left) {
  const Target target = target_of({known}, limits, std::nullopt);
  VectorXd likelihood(left.size());
  for (Index i = 0; i < left.size(); ++i) {
    const VectorXd v = cancelling_unbalance(target, left(i));
    Point point{v, std::log(left(i)), 0, {}, 0.0};
    point.find_spreads(target);
    const auto near = approximation_at(target, 0, left(i), *point.spreads);
    likelihood(i) = log_density(target, point) - log_left_density(left(i), std::nullopt) - point.log_left -
                    near.precision_factor.diagonal().array().log().sum();
  }
  return likelihood;
}

}  // namespace trimwright

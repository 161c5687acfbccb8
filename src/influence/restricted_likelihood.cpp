#include <cmath>

#include "alike_runs.hpp"
#include "base/linear_algebra.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Sums X^H a X, X^H a Y and Re Y^H a Y for a matrix a of every run.
struct Weighted {
  MatrixXcd design, crossed;
  MatrixXd data;

  Weighted(Index unknowns, Index columns)
      : design(MatrixXcd::Zero(unknowns, unknowns)),
        crossed(MatrixXcd::Zero(unknowns, columns)),
        data(MatrixXd::Zero(columns, columns)) {}

  void add(const AlikeRuns& group, const MatrixXd& a) {
    const Index n = a.rows();
    const auto& at = group.unknowns;
    for (std::size_t q = 0; q < at.size(); ++q)
      for (std::size_t p = 0; p < at.size(); ++p)
        design(at[p], at[q]) +=
            a(group.row_of[p], group.row_of[q]) * group.design(static_cast<Index>(p), static_cast<Index>(q));
    for (Index c = 0; c < data.cols(); ++c) {
      for (std::size_t p = 0; p < at.size(); ++p)
        for (Index k = 0; k < n; ++k)
          crossed(at[p], c) += a(group.row_of[p], k) * group.crossed(static_cast<Index>(p), c * n + k);
      for (Index d = 0; d < data.cols(); ++d)
        data(c, d) += a.cwiseProduct(group.squares.block(c * n, d * n, n, n)).sum();
    }
  }

  /// Re (Y - X b)^H a (Y - X b).
  [[nodiscard]] MatrixXd left(const MatrixXcd& b) const {
    const MatrixXd once = (crossed.adjoint() * b).real();
    return data - once - once.transpose() + (b.adjoint() * design * b).real();
  }
};

/// tr(a b) of Hermitian matrices.
double trace_of(const MatrixXcd& a, const MatrixXcd& b) { return a.conjugate().cwiseProduct(b).sum().real(); }

/// What is left of some columns when those of the events are fitted beside, and how surely.
struct Bordered {
  MatrixXd covariance;  ///< of the events' values
  VectorXd combine;     ///< of the columns of data: readings less what the events explain
};

Bordered bordered(const MatrixXd& data, const std::vector<Index>& events) {
  Bordered border{MatrixXd(0, 0), VectorXd::Unit(data.cols(), 0)};
  if (events.empty()) return border;
  const MatrixXd own = data(events, events);
  border.covariance = positive_solve(own, MatrixXd::Identity(own.rows(), own.cols()));
  border.combine(events) = -border.covariance * VectorXd(data(events, 0));
  return border;
}

/// tr(covariance m) over the events.
double over_events(const Bordered& border, const MatrixXd& m, const std::vector<Index>& events) {
  return events.empty() ? 0.0 : border.covariance.cwiseProduct(m(events, events)).sum();
}

}  // namespace

Projected projected(const std::vector<AlikeRuns>& groups, Index unknowns, const VectorXd& variances,
                    Asked asked) {
  const std::size_t parts = asked == Asked::score ? groups.front().parts.size() : 0;
  const Index columns = groups.front().squares.cols() / groups.front().fixed.cols();
  Weighted base(unknowns, columns);
  std::vector<Weighted> one(parts, base), both(parts * (parts + 1) / 2, base);
  Projected sums;
  sums.trace = VectorXd::Zero(static_cast<Index>(parts));
  sums.trace_both = MatrixXd::Zero(static_cast<Index>(parts), static_cast<Index>(parts));
  for (const AlikeRuns& group : groups) {
    if (group.runs < 0.5) continue;
    MatrixXd v = group.covariance(variances);
    v.diagonal().array() += 1e-300;
    const MatrixXd factor = cholesky(v);
    const MatrixXd half = lower_solve(factor, MatrixXd(MatrixXd::Identity(v.rows(), v.cols())));
    const MatrixXd inverse = half.transpose() * half;
    sums.log_determinant += 2.0 * group.runs * factor.diagonal().array().log().sum();
    base.add(group, inverse);
    for (std::size_t q = 0; q < parts; ++q) {
      const MatrixXd own = inverse * group.parts[q];  // V^-1 K_q
      sums.trace(static_cast<Index>(q)) += group.runs * own.trace();
      one[q].add(group, own * inverse);
      for (std::size_t r = 0; r <= q; ++r) {
        const MatrixXd other = inverse * group.parts[r];
        sums.trace_both(static_cast<Index>(q), static_cast<Index>(r)) +=
            group.runs * own.cwiseProduct(other.transpose()).sum();
        const MatrixXd twice = own * other * inverse;
        both[q * (q + 1) / 2 + r].add(group, 0.5 * (twice + twice.transpose()));
      }
    }
  }
  const MatrixXd factor = cholesky(halves_apart(base.design));
  sums.log_determinant += factor.diagonal().array().log().sum();
  if (asked == Asked::likelihood) {
    const MatrixXd fitted = lower_solve(factor, halves_apart(base.crossed)).leftCols(columns);
    sums.data = base.data - fitted.transpose() * fitted;
    return sums;
  }
  const MatrixXd half = lower_solve(factor, MatrixXd(MatrixXd::Identity(2 * unknowns, 2 * unknowns)));
  const MatrixXd inverse = half.transpose() * half;
  sums.inverse.resize(unknowns, unknowns);
  sums.inverse.real() = inverse.topLeftCorner(unknowns, unknowns);
  sums.inverse.imag() = inverse.bottomLeftCorner(unknowns, unknowns);
  sums.unknowns = sums.inverse * base.crossed;
  sums.data = base.left(sums.unknowns);
  std::vector<MatrixXcd> through, pulled;
  for (std::size_t q = 0; q < parts; ++q) {
    const auto at = static_cast<Index>(q);
    sums.one.push_back(one[q].left(sums.unknowns));
    sums.trace(at) -= trace_of(sums.inverse, one[q].design);
    through.push_back(sums.inverse * one[q].design);
    pulled.push_back(one[q].crossed - one[q].design * sums.unknowns);
    for (std::size_t r = 0; r <= q; ++r) {
      const Weighted& two = both[q * (q + 1) / 2 + r];
      const MatrixXd shared = (pulled[q].adjoint() * sums.inverse * pulled[r]).real();
      sums.both.push_back(two.left(sums.unknowns) - 0.5 * (shared + shared.transpose()));
      double& trace = sums.trace_both(at, static_cast<Index>(r));
      trace += (through[q] * through[r]).trace().real() - 2.0 * trace_of(sums.inverse, two.design);
      sums.trace_both(static_cast<Index>(r), at) = trace;
    }
  }
  return sums;
}

ComponentScore score_of(const std::vector<Projected>& sensors, const std::vector<Index>& events) {
  Projected all = sensors.front();
  for (std::size_t s = 1; s < sensors.size(); ++s) {
    all.data += sensors[s].data;
    all.trace += sensors[s].trace;
    all.trace_both += sensors[s].trace_both;
    for (std::size_t q = 0; q < all.one.size(); ++q) all.one[q] += sensors[s].one[q];
    for (std::size_t q = 0; q < all.both.size(); ++q) all.both[q] += sensors[s].both[q];
  }
  const Bordered border = bordered(all.data, events);
  const Index parts = all.trace.size();
  ComponentScore score{VectorXd(parts), MatrixXd(parts, parts), {}, {}};
  std::size_t at = 0;
  for (Index q = 0; q < parts; ++q) {
    const MatrixXd& own = all.one[static_cast<std::size_t>(q)];
    score.gradient(q) = 0.5 * (border.combine.dot(own * border.combine) - 2.0 * all.trace(q) +
                               over_events(border, own, events));
    for (Index r = 0; r <= q; ++r, ++at) {
      double twice = 2.0 * all.trace_both(q, r) - 2.0 * over_events(border, all.both[at], events);
      if (!events.empty()) {
        const MatrixXd& other = all.one[static_cast<std::size_t>(r)];
        twice += (border.covariance * MatrixXd(own(events, events)) * border.covariance *
                  MatrixXd(other(events, events)))
                     .trace();
      }
      score.information(q, r) = score.information(r, q) = 0.5 * twice;
    }
  }
  return score;
}

double log_likelihood(const std::vector<Projected>& sensors, const std::vector<Index>& events) {
  MatrixXd data = MatrixXd::Zero(sensors.front().data.rows(), sensors.front().data.cols());
  double likelihood = 0.0;
  for (const auto& one : sensors) {
    data += one.data;
    likelihood -= one.log_determinant;
  }
  const Bordered border = bordered(data, events);
  if (!events.empty()) likelihood -= cholesky(MatrixXd(data(events, events))).diagonal().array().log().sum();
  return likelihood - 0.5 * border.combine.dot(data * border.combine);
}

}  // namespace trimwright

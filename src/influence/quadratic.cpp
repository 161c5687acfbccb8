#include "quadratic.hpp"

#include <algorithm>
#include <map>
#include <numeric>

namespace trimwright {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

namespace {

/// Writes `parts` as left * right with as few columns as do, where few do: rows that were read in the same
/// runs have one covariance but for a factor. Crosses of the largest entry that is left (M. Bebendorf,
/// *Numer. Math.* 86 (2000), with the whole matrix at hand).
void write_as_few(const MatrixXd& parts, MatrixXd& left, MatrixXd& right) {
  constexpr double rounding = 1e-14;
  const Index most = std::min(parts.rows(), parts.cols()) / 4;
  const VectorXd scale = parts.cwiseAbs().rowwise().maxCoeff().cwiseMax(1e-300);
  MatrixXd rest = parts;
  left.resize(parts.rows(), most);
  right.resize(most, parts.cols());
  for (Index rank = 0; rank <= most; ++rank) {
    Index i = 0, j = 0;
    if ((rest.array().colwise() / scale.array()).abs().maxCoeff(&i, &j) <= rounding) {
      left.conservativeResize(Eigen::NoChange, rank);
      right.conservativeResize(rank, Eigen::NoChange);
      return;
    }
    if (rank == most) break;
    left.col(rank) = rest.col(j);
    right.row(rank) = rest.row(i) / rest(i, j);
    rest -= left.col(rank) * right.row(rank);
  }
  left = parts;
  right.resize(0, parts.cols());
}

}  // namespace

std::pair<Index, double> source(Index a, Index k, Index entries) {
  const Index row = k / 2, component = k % 2;
  if (a == 0) return {2 * row * entries + component, 1.0};
  const Index at = 2 * (row * entries + 1 + (a - 1) / 2);
  if (a % 2 == 1) return {at + component, 1.0};              // C Re V
  return {at + 1 - component, component == 0 ? -1.0 : 1.0};  // i C Im V
}

VectorXd products_of(const VectorXd& e) {
  VectorXd products(e.size() * (e.size() + 1) / 2);
  for (Index a = 0, at = 0; a < e.size(); ++a)
    for (Index b = a; b < e.size(); ++b) products(at++) = e(a) * e(b);
  return products;
}

MatrixXd Quadratic::spread(const VectorXd& products) const {
  const bool as_it_is = left.cols() == products.size();
  const VectorXd entries = as_it_is ? VectorXd(left * products) : VectorXd(left * (right * products));
  const Index n = expected.rows();
  MatrixXd lower = MatrixXd::Zero(n, n);
  for (Index l = 0, entry = 0; l < n; entry += n - l, ++l)
    lower.col(l).tail(n - l) = entries.segment(entry, n - l);
  return lower;
}

Quadratic quadratic_of(const KnownNoise& known, const std::vector<Index>& rows, Index entries) {
  const Index directions = 2 * entries - 1, n = 2 * static_cast<Index>(rows.size());
  const auto component = [&](Index k) { return 2 * rows[static_cast<std::size_t>(k / 2)] + k % 2; };
  Quadratic quadratic{MatrixXd(n, directions), {}, {}};
  MatrixXd parts(n * (n + 1) / 2, directions * (directions + 1) / 2);
  Index column = 0;
  for (Index a = 0; a < directions; ++a) {
    for (Index k = 0; k < n; ++k) {
      const auto [at, sign] = source(a, component(k), entries);
      quadratic.expected(k, a) = sign * known.mean(at);
    }
    for (Index b = a; b < directions; ++b, ++column) {
      const auto product = [&](Index k, Index l) {
        const auto [at, sign] = source(a, component(k), entries);
        const auto [other, other_sign] = source(b, component(l), entries);
        return sign * other_sign * known.covariance(at, other);
      };
      Index entry = 0;
      for (Index l = 0; l < n; ++l)
        for (Index k = l; k < n; ++k)
          parts(entry++, column) = a == b ? product(k, l) : product(k, l) + product(l, k);
    }
  }
  write_as_few(parts, quadratic.left, quadratic.right);
  return quadratic;
}

std::vector<std::vector<Index>> tied_rows(const std::vector<KnownNoise>& known, Index rows) {
  const Index width = known.front().mean.size() / rows;
  std::vector<Index> set(static_cast<std::size_t>(rows));
  std::iota(set.begin(), set.end(), Index{0});
  for (Index i = 0; i < rows; ++i)
    for (Index j = 0; j < i; ++j) {
      const Index one = set[static_cast<std::size_t>(i)], other = set[static_cast<std::size_t>(j)];
      if (one == other || std::all_of(known.begin(), known.end(), [&](const KnownNoise& noise) {
            return noise.covariance.block(width * i, width * j, width, width).isZero(0.0);
          }))
        continue;
      std::replace(set.begin(), set.end(), one, other);
    }
  std::map<Index, std::vector<Index>> by_set;
  for (Index i = 0; i < rows; ++i) by_set[set[static_cast<std::size_t>(i)]].push_back(i);
  std::vector<std::vector<Index>> tied;
  for (auto& [label, members] : by_set) tied.push_back(std::move(members));
  return tied;
}

}  // namespace trimwright

#include "quadratic.hpp"

#include <algorithm>
#include <map>
#include <numeric>

namespace trimwright {

using Eigen::Index;
using Eigen::MatrixXd;

std::pair<Index, double> source(Index a, Index k, Index entries) {
  const Index row = k / 2, component = k % 2;
  if (a == 0) return {2 * row * entries + component, 1.0};
  const Index at = 2 * (row * entries + 1 + (a - 1) / 2);
  if (a % 2 == 1) return {at + component, 1.0};              // C Re V
  return {at + 1 - component, component == 0 ? -1.0 : 1.0};  // i C Im V
}

Quadratic quadratic_of(const KnownNoise& known, const std::vector<Index>& rows, Index entries) {
  const Index directions = 2 * entries - 1, n = 2 * static_cast<Index>(rows.size());
  const auto component = [&](Index k) { return 2 * rows[static_cast<std::size_t>(k / 2)] + k % 2; };
  Quadratic quadratic{MatrixXd(n, directions), MatrixXd(n * n, directions * (directions + 1) / 2)};
  Index column = 0;
  for (Index a = 0; a < directions; ++a) {
    for (Index k = 0; k < n; ++k) {
      const auto [at, sign] = source(a, component(k), entries);
      quadratic.expected(k, a) = sign * known.mean(at);
    }
    for (Index b = a; b < directions; ++b, ++column) {
      MatrixXd part(n, n);
      for (Index k = 0; k < n; ++k)
        for (Index l = 0; l < n; ++l) {
          const auto [at, sign] = source(a, component(k), entries);
          const auto [other, other_sign] = source(b, component(l), entries);
          part(k, l) = sign * other_sign * known.covariance(at, other);
        }
      if (a != b) part = (part + part.transpose()).eval();
      quadratic.parts.col(column) = part.reshaped();
    }
  }
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

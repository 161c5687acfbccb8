#include "probable_moments.hpp"

#include <algorithm>
#include <cmath>

#include "influence/posterior_draws.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::VectorXd;

/// Mean over the draws of a step at 1 of the worst ratio, smoothed so that a search has a slope everywhere.
double smooth_probability(const Eigen::MatrixXd& amplitudes, const VectorXd& target) {
  constexpr double width = 0.08;  // of the target
  const Eigen::RowVectorXd worst = (target.cwiseInverse().asDiagonal() * amplitudes).colwise().maxCoeff();
  return (1.0 + ((worst.array() - 1.0) / width).exp()).inverse().mean();
}

/// Minimum of `f` near `start` by the simplex method; `size` is the first simplex's.
template <class F>
VectorXd simplex_minimum(F f, const VectorXd& start, const VectorXd& size, int most_calls) {
  const Index n = start.size();
  std::vector<std::pair<double, VectorXd>> simplex{{f(start), start}};
  for (Index k = 0; k < n; ++k) {
    VectorXd x = start;
    x(k) += size(k);
    simplex.emplace_back(f(x), x);
  }
  const auto by_value = [](const auto& a, const auto& b) { return a.first < b.first; };
  for (int calls = static_cast<int>(n) + 1; calls < most_calls;) {
    std::sort(simplex.begin(), simplex.end(), by_value);
    if (simplex.back().first - simplex.front().first < 1e-5) break;
    VectorXd centre = VectorXd::Zero(n);
    for (Index k = 0; k < n; ++k)
      centre += simplex[static_cast<std::size_t>(k)].second / static_cast<double>(n);
    const auto moved = [&](double by) {
      VectorXd x = centre + by * (simplex.back().second - centre);
      const double value = f(x);
      ++calls;
      return std::pair{value, std::move(x)};
    };
    auto next = moved(-1.0);
    const double second_worst = simplex[static_cast<std::size_t>(n) - 1].first;
    if (next.first < simplex.front().first) {
      if (auto further = moved(-2.0); further.first < next.first) next = std::move(further);
    } else if (next.first >= second_worst) {
      next = moved(next.first < simplex.back().first ? -0.5 : 0.5);
    }
    if (next.first < simplex.back().first) {
      simplex.back() = std::move(next);
      continue;
    }
    for (Index k = 1; k <= n; ++k) {
      auto& [value, x] = simplex[static_cast<std::size_t>(k)];
      x = 0.5 * (x + simplex.front().second);
      value = f(x);
      ++calls;
    }
  }
  return std::min_element(simplex.begin(), simplex.end(), by_value)->second;
}

}  // namespace

Eigen::VectorXcd most_probable_moments(const InfluencePosterior& posterior,
                                       const Eigen::VectorXcd& unbalance_now,
                                       const std::vector<std::size_t>& entries, const RowLevels& levels,
                                       const Eigen::VectorXcd& start) {
  constexpr int search_samples = 300;
  constexpr int search_every = 4;  // of the posterior's draws
  constexpr int most_calls = 200;
  const OutlookDraws draws(2 * levels.target.size(), search_samples, posterior.unknowns.degrees_of_freedom,
                           outlook_seed);
  const Index planes = static_cast<Index>(entries.size());
  const auto moments = [&](const VectorXd& x) {
    Eigen::VectorXcd u(planes);
    for (Index p = 0; p < planes; ++p) u(p) = {x(2 * p), x(2 * p + 1)};
    return u;
  };
  const auto failing = [&](const VectorXd& x) {
    Eigen::VectorXcd after = unbalance_now;
    const Eigen::VectorXcd added = moments(x);
    for (Index p = 0; p < planes; ++p)
      after(static_cast<Index>(entries[static_cast<std::size_t>(p)])) += added(p);
    return -smooth_probability(
        posterior.draws ? Eigen::MatrixXd(drawn_readings(posterior, after, {}, search_every).cwiseAbs())
                        : sampled_amplitudes(next_readings(posterior, after), draws),
        levels.target);
  };
  VectorXd from(2 * planes), size(2 * planes);
  for (Index p = 0; p < planes; ++p) {
    // A step whose effect on the most sensitive row is a third of its target.
    double strongest = 0.0;
    for (std::size_t i = 0; i < posterior.rows.size(); ++i)
      strongest = std::max(
          strongest,
          std::abs(posterior.unknowns.at(posterior.entry(i, 1 + entries[static_cast<std::size_t>(p)]))) /
              levels.target(static_cast<Index>(i)));
    from.segment<2>(2 * p) << start(p).real(), start(p).imag();
    size.segment<2>(2 * p).setConstant(strongest > 0.0 ? 1.0 / (3.0 * strongest) : 1.0);
  }
  return moments(simplex_minimum(failing, from, size, most_calls));
}

}  // namespace trimwright

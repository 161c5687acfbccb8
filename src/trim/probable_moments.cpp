#include "probable_moments.hpp"

#include <nlopt.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "forecast/outlook.hpp"

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

}  // namespace

Eigen::VectorXcd most_probable_moments(const InfluencePosterior& posterior,
                                       const Eigen::VectorXcd& unbalance_now,
                                       const std::vector<std::size_t>& entries, const RowLevels& levels,
                                       const Eigen::VectorXcd& start, Deadline deadline) {
  constexpr int search_samples = 300;
  constexpr int search_every = 4;  // of the posterior's draws
  constexpr int most_calls = 200;
  const OutlookDraws draws(2 * levels.target.size(), search_samples, posterior.unknowns.degrees_of_freedom,
                           draws_seed);
  const Index planes = static_cast<Index>(entries.size());
  const auto moments = [&](const VectorXd& x) {
    Eigen::VectorXcd u(planes);
    for (Index p = 0; p < planes; ++p) u(p) = {x(2 * p), x(2 * p + 1)};
    return u;
  };
  const auto meeting = [&](const VectorXd& x) {
    Eigen::VectorXcd after = unbalance_now;
    const Eigen::VectorXcd added = moments(x);
    for (Index p = 0; p < planes; ++p)
      after(static_cast<Index>(entries[static_cast<std::size_t>(p)])) += added(p);
    return smooth_probability(
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
  // The simplex method of J. A. Nelder and R. Mead, Computer Journal 7 (1965), as NLopt has it.
  nlopt_opt search = nlopt_create(NLOPT_LN_NELDERMEAD, static_cast<unsigned>(from.size()));
  using Function = std::function<double(const VectorXd&)>;
  Function function = [&](const VectorXd& x) {
    if (deadline.passed_now()) nlopt_force_stop(search);
    return meeting(x);
  };
  nlopt_set_max_objective(
      search,
      [](unsigned n, const double* x, double*, void* data) {
        return (*static_cast<Function*>(data))(Eigen::Map<const VectorXd>(x, static_cast<Index>(n)));
      },
      &function);
  nlopt_set_initial_step(search, size.data());
  nlopt_set_ftol_abs(search, 1e-5);
  nlopt_set_maxeval(search, most_calls);
  double best = 0.0;
  nlopt_optimize(search, from.data(), &best);
  nlopt_destroy(search);
  return moments(from);
}

}  // namespace trimwright

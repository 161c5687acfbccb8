#include "joint_posterior.hpp"

#include <algorithm>
#include <cmath>

#include "base/linear_algebra.hpp"
#include "runs_fit.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;

/// Of an open event's value beforehand: many turns, a factor of thousands.
constexpr double wide = 10.0;

/// Complex equations with unit noise per real component, (design | open events | reading), and the log of the
/// noise's determinant.
std::pair<MatrixXcd, double> whitened_readings(const JointSystem& system, const NoiseModel& noise,
                                               const std::vector<std::size_t>& open) {
  const Index entries = system.entries(), events = static_cast<Index>(open.size());
  const Index unknowns = entries * static_cast<Index>(system.rows.size());
  const MatrixXcd designs = run_designs(system);
  MatrixXcd equations(static_cast<Index>(system.readings.size()), unknowns + events + 1);
  double log_determinant = 0.0;
  Index at = 0;
  for (std::size_t s = 0; s < noise.sensors.size(); ++s) {
    std::vector<std::size_t> own;
    for (std::size_t i = 0; i < system.readings.size(); ++i)
      if (system.readings[i].sensor == s) own.push_back(i);
    MatrixXcd block = MatrixXcd::Zero(static_cast<Index>(own.size()), unknowns + events + 1);
    for (Index i = 0; i < block.rows(); ++i) {
      const auto& reading = system.readings[own[static_cast<std::size_t>(i)]];
      block.row(i).segment(static_cast<Index>(reading.row) * entries, entries) =
          designs.row(static_cast<Index>(reading.run));
      for (Index k = 0; k < events; ++k)
        block(i, unknowns + k) =
            -reading.exponents(static_cast<Index>(open[static_cast<std::size_t>(k)])) * reading.fitted;
      block(i, unknowns + events) = reading.x;
    }
    const MatrixXd factor = cholesky(noise.widened * noise.widened * readings_covariance(system, noise, own));
    equations.middleRows(at, block.rows()) = lower_solve(factor, block);
    log_determinant += 2.0 * factor.diagonal().array().log().sum();
    for (const std::size_t i : own) log_determinant -= 2.0 * std::log(system.readings[i].scale);
    at += block.rows();
  }
  return {equations, log_determinant};
}

/// Complex equations as real ones in the stacked (re, im) of the unknowns; the `real` last columns, right
/// side included, stay as they are.
MatrixXd real_equations(const MatrixXcd& equations, Index real_columns) {
  const Index n = equations.rows();
  const Index unknowns = equations.cols() - real_columns;
  MatrixXd real(2 * n, 2 * unknowns + real_columns);
  for (Index i = 0; i < n; ++i) {
    for (Index k = 0; k < unknowns; ++k) real.block<2, 2>(2 * i, 2 * k) = as_real(equations(i, k));
    for (Index k = 0; k < real_columns; ++k) {
      real(2 * i, 2 * unknowns + k) = equations(i, unknowns + k).real();
      real(2 * i + 1, 2 * unknowns + k) = equations(i, unknowns + k).imag();
    }
  }
  return real;
}

/// What the prior says of its coefficients, in the frame that its rotors were read in.
void add_prior(const JointSystem& system, const JointPrior& prior, const std::vector<std::size_t>& open,
               Eigen::Ref<MatrixXd> below) {
  const Index entries = system.entries(), rhs = below.cols() - 1;
  const Index events = rhs - static_cast<Index>(open.size());
  const std::size_t small = 1 + system.planes.size();
  for (std::size_t a = 0; a < prior.unknown.size(); ++a) {
    const auto row = static_cast<Index>(prior.unknown[a] / small);
    const Index at = 2 * (row * entries + static_cast<Index>(prior.unknown[a] % small));
    const Index from = 2 * static_cast<Index>(a);
    if (prior.factor.empty()) {
      below.block<2, 2>(from, at).setIdentity();
      continue;
    }
    below.block<2, 2>(from, at) = as_real(1.0 / prior.factor[a]);
    for (std::size_t k = 0; k < open.size(); ++k) {
      const Phasor slope =
          -prior.exponents[a](static_cast<Index>(open[k])) * prior.fitted[a] / prior.factor[a];
      below.col(events + static_cast<Index>(k)).segment<2>(from) << slope.real(), slope.imag();
    }
  }
  below.col(rhs) = prior.moments.mean;
}

/// Adds the columns of coefficients that rows share to those of the first; which columns are left empty so.
std::vector<bool> share_columns(const JointSystem& system, MatrixXd& stacked) {
  std::vector<bool> shared(static_cast<std::size_t>(stacked.cols()), false);
  for (std::size_t i = 0; i < system.rows.size(); ++i)
    for (Index q = 0; q < system.entries(); ++q) {
      const Index from = static_cast<Index>(i) * system.entries() + q, to = system.unknown(i, q);
      if (from == to) continue;
      for (const Index part : {0, 1}) {
        stacked.col(2 * to + part) += stacked.col(2 * from + part);
        stacked.col(2 * from + part).setZero();
        shared[static_cast<std::size_t>(2 * from + part)] = true;
      }
    }
  return shared;
}

/// Unknowns of `solution` that stand in the columns `used`, of those of the posterior.
void take_unknowns(const JointSystem& system, const std::vector<Index>& used, const RealLeastSquares& fit,
                   PhasorDistribution& unknowns) {
  const Index small = 1 + static_cast<Index>(system.planes.size());
  const Index rows = static_cast<Index>(system.rows.size());
  std::vector<Index> from;
  for (Index i = 0; i < rows; ++i)
    for (Index q = 0; q < 2 * small; ++q) {
      const Index at = 2 * system.unknown(static_cast<std::size_t>(i), q / 2) + q % 2;
      from.push_back(std::find(used.begin(), used.end(), at) - used.begin());
    }
  unknowns.mean = fit.solution(from);
  const MatrixXd root = fit.root(from, Eigen::all);
  unknowns.covariance = root * root.transpose();
}

}  // namespace

void JointPrior::take_events(const JointSystem& system) {
  for (std::size_t a = 0; a < exponents.size(); ++a) {
    Phasor log_factor = 0.0;
    for (std::size_t k = 0; k < system.events.size(); ++k)
      log_factor += exponents[a](static_cast<Index>(k)) * system.events[k].value;
    factor[a] = std::exp(log_factor);
  }
}

JointFit joint_fit(const JointSystem& system, const NoiseModel& noise, const JointPrior* prior) {
  JointFit result;
  result.open = system.open_events(prior != nullptr);
  const Index events = static_cast<Index>(result.open.size());
  const auto [readings, log_determinant] = whitened_readings(system, noise, result.open);
  const Index unknowns = readings.cols() - 1 - events;
  const Index known = prior != nullptr ? static_cast<Index>(prior->unknown.size()) : 0;
  MatrixXd stacked = MatrixXd::Zero(2 * (readings.rows() + known) + events, 2 * unknowns + events + 1);
  stacked.topRows(2 * readings.rows()) = real_equations(readings, events + 1);
  MatrixXd factor(0, 0);
  if (prior != nullptr) {
    factor = cholesky(prior->moments.covariance);
    auto below = stacked.middleRows(2 * readings.rows(), 2 * known);
    add_prior(system, *prior, result.open, below);
    below = lower_solve(factor, MatrixXd(below));
  }
  for (Index k = 0; k < events; ++k) {
    const Index row = 2 * (readings.rows() + known) + k;
    stacked(row, 2 * unknowns + k) = 1.0 / wide;
    stacked(row, 2 * unknowns + events) =
        -system.events[result.open[static_cast<std::size_t>(k)]].value / wide;
  }
  const std::vector<bool> shared = share_columns(system, stacked);
  std::vector<Index> used;  // a new baseline is no unknown of a row that no run before it reads
  for (Index c = 0; c < 2 * unknowns + events; ++c)
    if (!shared[static_cast<std::size_t>(c)] && (system.shifts.cols() == 0 || !stacked.col(c).isZero(0.0)))
      used.push_back(c);

  const auto fit = least_squares(MatrixXd(stacked(Eigen::all, used)), stacked.col(2 * unknowns + events));
  InfluencePosterior& posterior = result.posterior;
  posterior.rows = system.rows;
  posterior.planes = system.planes;
  posterior.noise = noise;
  posterior.unknowns.degrees_of_freedom = noise.degrees_of_freedom;
  take_unknowns(system, used, fit, posterior.unknowns);
  posterior.misfit = fit.residual_square;
  posterior.misfit_dof = static_cast<int>(stacked.rows() - events - static_cast<Index>(used.size()));
  result.step = fit.solution.tail(events);
  const MatrixXd root = fit.root.bottomRows(events);
  result.step_covariance = root * root.transpose();
  Eigen::VectorXd all = Eigen::VectorXd::Zero(2 * unknowns);
  for (std::size_t j = 0; j + static_cast<std::size_t>(events) < used.size(); ++j)
    all(used[j]) = fit.solution(static_cast<Index>(j));
  result.fitted.resize(static_cast<Index>(system.readings.size()));
  for (std::size_t i = 0; i < system.readings.size(); ++i) {
    const auto design = system.design(system.readings[i].run);
    Phasor x = 0.0;
    for (Index q = 0; q < design.size(); ++q) {
      const Index at = 2 * system.unknown(system.readings[i].row, q);
      x += design(q) * Phasor(all(at), all(at + 1));
    }
    result.fitted(static_cast<Index>(i)) = x;
  }
  posterior.events = system.events;
  posterior.events_covariance =
      MatrixXd::Zero(static_cast<Index>(system.events.size()), static_cast<Index>(system.events.size()));
  for (Index k = 0; k < events; ++k)
    posterior.events[result.open[static_cast<std::size_t>(k)]].sd = std::sqrt(result.step_covariance(k, k));
  for (Index k = 0; k < events; ++k)
    for (Index l = 0; l < events; ++l)
      posterior.events_covariance(static_cast<Index>(result.open[static_cast<std::size_t>(k)]),
                                  static_cast<Index>(result.open[static_cast<std::size_t>(l)])) =
          result.step_covariance(k, l);
  result.log_evidence = -0.5 * fit.residual_square - log_determinant - 0.5 * fit.log_determinant -
                        (prior != nullptr ? factor.diagonal().array().log().sum() : 0.0);
  return result;
}

}  // namespace trimwright

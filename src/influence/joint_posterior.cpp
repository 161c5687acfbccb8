#include "joint_posterior.hpp"

#include "base/linear_algebra.hpp"
#include "runs_fit.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;

/// Complex equations with unit noise per real component, (design | reading), and the log of the noise's
/// determinant.
std::pair<MatrixXcd, double> whitened_readings(const JointSystem& system, const NoiseModel& noise) {
  const Index entries = 1 + static_cast<Index>(system.planes.size());
  const Index unknowns = entries * static_cast<Index>(system.rows.size());
  const MatrixXcd designs = run_designs(system);
  MatrixXcd equations(static_cast<Index>(system.readings.size()), unknowns + 1);
  double log_determinant = 0.0;
  Index at = 0;
  for (std::size_t s = 0; s < noise.sensors.size(); ++s) {
    std::vector<std::size_t> own;
    for (std::size_t i = 0; i < system.readings.size(); ++i)
      if (system.readings[i].sensor == s) own.push_back(i);
    MatrixXcd block = MatrixXcd::Zero(static_cast<Index>(own.size()), unknowns + 1);
    for (Index i = 0; i < block.rows(); ++i) {
      const auto& reading = system.readings[own[static_cast<std::size_t>(i)]];
      block.row(i).segment(static_cast<Index>(reading.row) * entries, entries) =
          designs.row(static_cast<Index>(reading.run));
      block(i, unknowns) = reading.x;
    }
    const MatrixXd factor = cholesky(noise.widened * noise.widened * readings_covariance(system, noise, own));
    equations.middleRows(at, block.rows()) = lower_solve(factor, block);
    log_determinant += 2.0 * factor.diagonal().array().log().sum();
    at += block.rows();
  }
  return {equations, log_determinant};
}

/// Complex equations as real ones in the stacked (re, im) of the unknowns, the right side last.
MatrixXd real_equations(const MatrixXcd& equations) {
  const Index n = equations.rows();
  const Index unknowns = equations.cols() - 1;
  MatrixXd real(2 * n, 2 * unknowns + 1);
  for (Index i = 0; i < n; ++i) {
    for (Index k = 0; k < unknowns; ++k) {
      const auto a = equations(i, k);
      real.block<2, 2>(2 * i, 2 * k) << a.real(), -a.imag(), a.imag(), a.real();
    }
    real(2 * i, 2 * unknowns) = equations(i, unknowns).real();
    real(2 * i + 1, 2 * unknowns) = equations(i, unknowns).imag();
  }
  return real;
}

}  // namespace

InfluencePosterior posterior_with_prior(const JointSystem& system, const NoiseModel& noise,
                                        const JointPrior& prior, double* log_evidence) {
  const auto [readings, log_determinant] = whitened_readings(system, noise);
  const Index unknowns = readings.cols() - 1, known = static_cast<Index>(prior.unknown.size());
  MatrixXd stacked = MatrixXd::Zero(2 * (readings.rows() + known), 2 * unknowns + 1);
  stacked.topRows(2 * readings.rows()) = real_equations(readings);
  auto below = stacked.bottomRows(2 * known);
  for (Index a = 0; a < known; ++a)
    below.block<2, 2>(2 * a, 2 * static_cast<Index>(prior.unknown[static_cast<std::size_t>(a)]))
        .setIdentity();
  below.col(2 * unknowns) = prior.moments.mean;
  const MatrixXd factor = cholesky(prior.moments.covariance);
  below = lower_solve(factor, MatrixXd(below));

  const auto fit = least_squares(MatrixXd(stacked.leftCols(2 * unknowns)), stacked.col(2 * unknowns));
  InfluencePosterior posterior;
  posterior.rows = system.rows;
  posterior.planes = system.planes;
  posterior.noise = noise;
  posterior.unknowns = {fit.solution, fit.root * fit.root.transpose(), noise.degrees_of_freedom};
  posterior.misfit = fit.residual_square;
  posterior.misfit_dof = static_cast<int>(stacked.rows() - 2 * unknowns);
  if (log_evidence != nullptr)
    *log_evidence = -0.5 * fit.residual_square - log_determinant - 0.5 * fit.log_determinant -
                    factor.diagonal().array().log().sum();
  return posterior;
}

}  // namespace trimwright

#include "variance_components.hpp"

#include <algorithm>
#include <cmath>

#include "base/linear_algebra.hpp"

namespace trimwright {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// V^-1 of a block, and V^-1 K_q.
struct Solved {
  MatrixXd v_inverse_x;
  VectorXd v_inverse_y;
  std::vector<MatrixXd> v_inverse_part;
  MatrixXd v_inverse;
};

MatrixXd covariance_of(const ComponentBlock& block, const VectorXd& variances) {
  MatrixXd v = block.fixed;
  for (std::size_t q = 0; q < block.parts.size(); ++q) v += variances(static_cast<Index>(q)) * block.parts[q];
  return v;
}

Solved solved_block(const ComponentBlock& block, const VectorXd& variances) {
  const MatrixXd v = covariance_of(block, variances);
  Solved solved;
  solved.v_inverse = positive_solve(v, MatrixXd::Identity(v.rows(), v.cols()));
  solved.v_inverse_x = solved.v_inverse * block.x;
  solved.v_inverse_y = solved.v_inverse * block.y;
  for (const auto& part : block.parts) solved.v_inverse_part.push_back(solved.v_inverse * part);
  return solved;
}

/// tr(A B) without the product.
double trace_of_product(const MatrixXd& a, const MatrixXd& b) { return a.cwiseProduct(b.transpose()).sum(); }

ComponentScore score_at(const std::vector<ComponentBlock>& blocks, const VectorXd& variances) {
  const Index parts = variances.size();
  const Index unknowns = blocks.front().x.cols();
  MatrixXd weight = MatrixXd::Zero(unknowns, unknowns);
  VectorXd moment = VectorXd::Zero(unknowns);
  std::vector<Solved> solved;
  for (const auto& block : blocks) {
    solved.push_back(solved_block(block, variances));
    weight += block.x.transpose() * solved.back().v_inverse_x;
    moment += block.x.transpose() * solved.back().v_inverse_y;
  }
  ComponentScore score{VectorXd::Zero(parts), MatrixXd::Zero(parts, parts), {}, {}};
  if (unknowns > 0) {
    score.mean_covariance = positive_solve(weight, MatrixXd::Identity(unknowns, unknowns));
    score.mean = score.mean_covariance * moment;
  }

  std::vector<MatrixXd> leverage(static_cast<std::size_t>(parts), MatrixXd::Zero(unknowns, unknowns));
  for (std::size_t j = 0; j < blocks.size(); ++j) {
    const auto& block = blocks[j];
    const auto& s = solved[j];
    const VectorXd residual = s.v_inverse_y - s.v_inverse_x * score.mean;
    for (Index q = 0; q < parts; ++q) {
      const auto& part = s.v_inverse_part[static_cast<std::size_t>(q)];
      const MatrixXd part_x = part * s.v_inverse_x;  // V^-1 K_q V^-1 X
      const MatrixXd through = block.x.transpose() * part_x;
      leverage[static_cast<std::size_t>(q)] += through;
      score.gradient(q) += 0.5 * (residual.dot(block.parts[static_cast<std::size_t>(q)] * residual) -
                                  part.trace() + trace_of_product(score.mean_covariance, through));
      for (Index r = 0; r <= q; ++r) {
        const auto& other = s.v_inverse_part[static_cast<std::size_t>(r)];
        const MatrixXd both =
            (other.transpose() * block.x).transpose() * part_x;  // X^T V^-1 K_r V^-1 K_q V^-1 X
        score.information(q, r) +=
            0.5 * (trace_of_product(part, other) - 2.0 * trace_of_product(score.mean_covariance, both));
      }
    }
  }
  for (Index q = 0; q < parts; ++q)
    for (Index r = 0; r <= q; ++r) {
      const MatrixXd a = score.mean_covariance * leverage[static_cast<std::size_t>(q)];
      const MatrixXd b = score.mean_covariance * leverage[static_cast<std::size_t>(r)];
      score.information(q, r) += 0.5 * trace_of_product(a, b);
      score.information(r, q) = score.information(q, r);
    }
  return score;
}

/// Fisher step over the variances that are not held at zero.
VectorXd fisher_step(const ComponentScore& score, const VectorXd& variances) {
  std::vector<Index> free;
  for (Index q = 0; q < variances.size(); ++q)
    if (variances(q) > 0.0 || score.gradient(q) > 0.0) free.push_back(q);
  VectorXd step = VectorXd::Zero(variances.size());
  if (free.empty()) return step;
  const MatrixXd information = score.information(free, free);
  const VectorXd gradient = score.gradient(free);
  step(free) = pseudo_inverse(information) * gradient;
  return step;
}

}  // namespace

ComponentFit restricted_likelihood(const std::function<ComponentScore(const VectorXd&)>& scored,
                                   const VectorXd& start, const VectorXd& least, bool off_zero) {
  constexpr int most_steps = 60;
  constexpr double largest_fall = 0.1;  // a variance falls at most to a tenth in one step
  constexpr double negligible = 1e-9;   // of its start: zero from here
  ComponentFit fit;
  fit.variances = start;
  ComponentScore score = scored(fit.variances);
  for (int i = 0; i < most_steps && !fit.converged; ++i) {
    if (off_zero) {
      const VectorXd inverse = fit.variances.cwiseInverse();
      score.gradient += 0.5 * inverse;
      score.information.diagonal() += 0.5 * inverse.cwiseAbs2();
    }
    const VectorXd step = fisher_step(score, fit.variances);
    VectorXd next = (fit.variances + step).cwiseMax(largest_fall * fit.variances);
    next = (next.array() > negligible * start.array()).select(next, 0.0);
    next = next.cwiseMax(least);
    fit.converged = (next - fit.variances).cwiseAbs().maxCoeff() <= 1e-7 * next.maxCoeff();
    fit.variances = next;
    score = scored(fit.variances);
  }
  fit.covariance = pseudo_inverse(score.information);
  fit.mean = score.mean;
  fit.mean_covariance = score.mean_covariance;
  return fit;
}

ComponentFit restricted_likelihood(const std::vector<ComponentBlock>& blocks, const VectorXd& start,
                                   const VectorXd& least, bool off_zero) {
  std::vector<Index> told;
  for (Index q = 0; q < start.size(); ++q)
    if (std::any_of(blocks.begin(), blocks.end(),
                    [&](const auto& one) { return !one.parts[static_cast<std::size_t>(q)].isZero(0.0); }))
      told.push_back(q);
  std::vector<ComponentBlock> left = blocks;
  for (auto& block : left) {
    std::vector<MatrixXd> parts;
    for (const Index q : told) parts.push_back(std::move(block.parts[static_cast<std::size_t>(q)]));
    block.parts = std::move(parts);
  }
  ComponentFit fit =
      restricted_likelihood([&](const VectorXd& variances) { return score_at(left, variances); },
                            VectorXd(start(told)), VectorXd(least(told)), off_zero);
  const VectorXd variances = fit.variances;
  const MatrixXd covariance = fit.covariance;
  fit.variances = VectorXd::Zero(start.size());
  fit.variances(told) = variances;
  fit.covariance = MatrixXd::Zero(start.size(), start.size());
  fit.covariance(told, told) = covariance;
  return fit;
}

}  // namespace trimwright

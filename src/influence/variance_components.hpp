#pragma once

#include <Eigen/Core>
#include <functional>
#include <vector>

namespace trimwright {

/// Observations y = X beta + noise, the noise's covariance fixed + sum_q variances[q] parts[q]; blocks are
/// independent of each other and share beta.
struct ComponentBlock {
  Eigen::VectorXd y;
  Eigen::MatrixXd x;
  Eigen::MatrixXd fixed;
  std::vector<Eigen::MatrixXd> parts;
};

struct ComponentFit {
  Eigen::VectorXd variances;   ///< none negative
  Eigen::MatrixXd covariance;  ///< of `variances`, from the expected information
  Eigen::VectorXd mean;        ///< beta by generalised least squares
  Eigen::MatrixXd mean_covariance;
  bool converged = false;
};

/// Gradient of the restricted log likelihood and its expected information, at given variances; beta there.
struct ComponentScore {
  Eigen::VectorXd gradient;
  Eigen::MatrixXd information;
  Eigen::VectorXd mean;
  Eigen::MatrixXd mean_covariance;
};

/// Restricted maximum likelihood of the variances by Fisher scoring (D. A. Harville, *J. Amer. Statist.
/// Assoc.* 72 (1977)), kept from falling below `least` (zero or more; above zero where the rest of a block's
/// covariance is singular). `start`: above zero, in the size of the answer.
///
/// `off_zero`: the likelihood is multiplied by every standard deviation, so that none comes out zero (Chung
/// et al., *Psychometrika* 78 (2013)); `covariance` is the likelihood's alone. A part that is zero in all
/// blocks has variance zero.
[[nodiscard]] ComponentFit restricted_likelihood(const std::vector<ComponentBlock>& blocks,
                                                 const Eigen::VectorXd& start, const Eigen::VectorXd& least,
                                                 bool off_zero = false);

/// The same where something else knows the score.
[[nodiscard]] ComponentFit restricted_likelihood(
    const std::function<ComponentScore(const Eigen::VectorXd&)>& scored, const Eigen::VectorXd& start,
    const Eigen::VectorXd& least, bool off_zero = false);

}  // namespace trimwright

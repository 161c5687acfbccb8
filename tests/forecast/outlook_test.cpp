#include "trimwright/forecast.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "forecast/outlook.hpp"
#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

PhasorDistribution circular(std::initializer_list<Phasor> means, double sd) {
  PhasorDistribution x;
  const auto n = static_cast<Eigen::Index>(means.size());
  x.mean.resize(2 * n);
  Eigen::Index i = 0;
  for (const Phasor mean : means) {
    x.mean(i++) = mean.real();
    x.mean(i++) = mean.imag();
  }
  x.covariance = sd * sd * Eigen::MatrixXd::Identity(2 * n, 2 * n);
  return x;
}

RowLevels levels(Eigen::Index n, double limit, double target) {
  return {Eigen::VectorXd::Constant(n, limit), Eigen::VectorXd::Constant(n, target)};
}

}  // namespace

// Rice: P(|X| < L) = F(L^2/sd^2; 2, |mu|^2/sd^2), F noncentral chi-squared. Values from SciPy:
//   scipy.stats.ncx2.cdf((L/sd)**2, 2, (mu/sd)**2)
TEST_CASE("One circular reading stays below its level as Rice's distribution says") {
  struct Row {
    double mu, sd, level, probability;
  };
  const int samples = 100000;
  for (const Row& row :
       {Row{0.2, 0.05, 0.3, 0.971148915}, Row{0.25, 0.05, 0.3, 0.818149577}, Row{0.1, 0.1, 0.3, 0.956284028},
        Row{0, 0.12, 0.3, 0.956063066}, Row{0.35, 0.08, 0.3, 0.226735399}}) {
    const auto x = circular({std::polar(row.mu, 0.7)}, row.sd);
    const auto outlook = outlook_of(x, levels(1, row.level, row.level), OutlookDraws(2, samples, 1e9, 1));
    const double se = std::sqrt(row.probability * (1.0 - row.probability) / samples);
    CHECK(std::abs(outlook.meets_targets - row.probability) < 4.0 * se);
  }
}

// Its quantiles, from SciPy: sd * sqrt(scipy.stats.ncx2.ppf(p, 2, (mu/sd)**2)), p = 0.05 and 0.95; for mu = 0
// Rayleigh's.
TEST_CASE("Nine readings in ten lie between Rice's twentieth parts") {
  struct Row {
    double mu, sd, low, high;
  };
  for (const Row& row : {Row{0.2, 0.05, 0.1257144, 0.2874640}, Row{0.1, 0.1, 0.0410355, 0.2939763},
                         Row{0, 0.12, 0.0384350, 0.2937296}, Row{0.35, 0.08, 0.2297757, 0.4893313}}) {
    const auto x = circular({std::polar(row.mu, 0.7)}, row.sd);
    const auto outlook = outlook_of(x, levels(1, 1.0, 1.0), OutlookDraws(2, 100000, 1e9, 1));
    CHECK(std::abs(outlook.readings[0].low - row.low) < 0.02 * row.sd);
    CHECK(std::abs(outlook.readings[0].high - row.high) < 0.02 * row.sd);
  }
}

TEST_CASE("Readings that share their error meet their levels together") {
  auto apart = circular({0.2, 0.2}, 0.1);
  auto together = apart;
  together.covariance.block<2, 2>(0, 2) = together.covariance.block<2, 2>(2, 0) =
      0.999 * 0.01 * Eigen::Matrix2d::Identity();
  const OutlookDraws draws(4, 20000, 1e9, 1);
  const auto one = outlook_of(apart, levels(2, 1.0, 0.3), draws);
  const auto other = outlook_of(together, levels(2, 1.0, 0.3), draws);
  CHECK(one.meets_targets ==
        doctest::Approx(one.readings[0].below_target * one.readings[1].below_target).epsilon(0.02));
  CHECK(other.meets_targets == doctest::Approx(other.readings[0].below_target).epsilon(0.02));
  CHECK(one.meets_limits > 0.999);
}

TEST_CASE("Few degrees of freedom make a far reading likelier") {
  const auto x = circular({0.0}, 0.1);
  const auto normal = outlook_of(x, levels(1, 0.3, 0.3), OutlookDraws(2, 20000, 1e9, 1));
  const auto few = outlook_of(x, levels(1, 0.3, 0.3), OutlookDraws(2, 20000, 3.0, 1));
  // |x|^2 / (2 sd^2) of a bivariate t is F(2, nu): P = 1 - (1 + 9/3)^(-3/2) = 0.875 at nu = 3.
  CHECK(few.meets_targets == doctest::Approx(0.875).epsilon(0.01));
  CHECK(normal.meets_targets == doctest::Approx(1.0 - std::exp(-4.5)).epsilon(0.01));
}

TEST_CASE("Tolerances of weight and slot become a covariance of the fitted moment") {
  Plane plane = slotted_plane("front", 4, {100.0});
  FittedWeights fitted;
  fitted.slots[1] = {"w1", 100.0};  // at angle 0
  CHECK(fitting_covariance(plane, fitted).norm() == 0.0);
  plane.weight_tolerance = 0.03;
  plane.slot_tolerance_deg = 1.0;
  const Eigen::Matrix2d covariance = fitting_covariance(plane, fitted);
  CHECK(covariance(0, 0) == doctest::Approx(3.0 * 3.0 / 3.0));
  CHECK(covariance(1, 1) == doctest::Approx(std::pow(100.0 * std::acos(-1.0) / 180.0, 2) / 3.0));
  CHECK(covariance(0, 1) == doctest::Approx(0.0));
}

// Mahalanobis distance squared of every corner. From SciPy: scipy.stats.chi2.ppf(0.9, 2) and
// 2 * scipy.stats.f.ppf(0.9, 2, 5).
TEST_CASE("The ellipse of nine readings in ten lies where chi-squared and Fisher's F say") {
  PhasorDistribution x = circular({Phasor(0.1, 0.2), Phasor(0.5, -0.3)}, 0.05);
  Eigen::Matrix2d c;
  c << 0.004, 0.001, 0.001, 0.002;
  x.covariance.block<2, 2>(2, 2) = c;
  for (const auto& [freedom, squared] : {std::pair(1e9, 4.605170186), std::pair(5.0, 7.559432159)}) {
    x.degrees_of_freedom = freedom;
    const auto outline = nine_in_ten_ellipse(x, 1);
    CHECK(outline.size() == 32);
    for (const Phasor corner : outline) {
      const Eigen::Vector2d off(corner.real() - 0.5, corner.imag() + 0.3);
      const double distance =
          (c(1, 1) * off.x() * off.x() - 2.0 * c(0, 1) * off.x() * off.y() + c(0, 0) * off.y() * off.y()) /
          (c(0, 0) * c(1, 1) - c(0, 1) * c(0, 1));
      CHECK(distance == doctest::Approx(squared).epsilon(1e-6));
    }
  }
}

// Least squares against LAPACK's zgelsd (singular values, smallest solution) and zgels (QR), through LAPACKE.
//
// How far two backward stable solutions of min |A x - b| may lie apart: Golub and Van Loan, Matrix
// Computations, on the sensitivity of the least squares problem (section 5.3, number from memory): relative
//     eps (2 kappa / cos(theta) + kappa^2 tan(theta)),   sin(theta) = |b - A x| / |b|,
// eps the size of the backward error relative to A and b: here 2^-52 times `factor` for a handful of columns.
#include <doctest/doctest.h>

#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <random>

#define lapack_complex_float std::complex<float>  // as lapack.h invites C++ to do
#define lapack_complex_double std::complex<double>
#include <lapacke.h>

#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

using namespace trimwright;
using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::VectorXcd;
using Eigen::VectorXd;

namespace {

constexpr double factor = 50.0;

class Draws {
 public:
  explicit Draws(unsigned seed) : engine_(seed) {}
  double normal() { return normal_(engine_); }
  MatrixXcd matrix(Index rows, Index columns) {
    MatrixXcd m(rows, columns);
    for (Index j = 0; j < columns; ++j)
      for (Index i = 0; i < rows; ++i) m(i, j) = {normal(), normal()};
    return m;
  }
  MatrixXcd orthonormal(Index rows, Index columns) {
    const Eigen::HouseholderQR<MatrixXcd> qr(matrix(rows, columns));
    return qr.householderQ() * MatrixXcd::Identity(rows, columns);
  }
  /// Singular values 1 to 1 / condition, then exact zeros (up to rounding) beyond `rank`.
  MatrixXcd conditioned(Index rows, Index columns, Index rank, double condition) {
    VectorXd singular = VectorXd::Zero(columns);
    for (Index k = 0; k < rank; ++k)
      singular(k) =
          rank > 1 ? std::pow(condition, -static_cast<double>(k) / static_cast<double>(rank - 1)) : 1.0;
    return orthonormal(rows, columns) * singular.asDiagonal() * orthonormal(columns, columns).adjoint();
  }

 private:
  std::mt19937 engine_;
  std::normal_distribution<double> normal_;
};

struct Solved {
  VectorXcd x;
  double condition = 0.0;  ///< of A, over the singular values that count
  int rank = 0;
};

/// zgelsd, singular values below `cut` of the largest taken as zero.
Solved gelsd(MatrixXcd a, const VectorXcd& b, double cut) {
  const auto rows = static_cast<lapack_int>(a.rows());
  const auto columns = static_cast<lapack_int>(a.cols());
  VectorXcd right = VectorXcd::Zero(std::max(a.rows(), a.cols()));
  right.head(b.size()) = b;
  VectorXd singular(std::min(a.rows(), a.cols()));
  lapack_int rank = 0;
  const auto info = LAPACKE_zgelsd(LAPACK_COL_MAJOR, rows, columns, 1, a.data(), rows, right.data(),
                                   static_cast<lapack_int>(right.size()), singular.data(), cut, &rank);
  REQUIRE(info == 0);
  return {right.head(a.cols()), singular(0) / singular(std::max<Index>(rank, 1) - 1), rank};
}

/// zgels; A must have full column rank.
VectorXcd gels(MatrixXcd a, const VectorXcd& b) {
  const auto rows = static_cast<lapack_int>(a.rows());
  VectorXcd right = b;
  const auto info = LAPACKE_zgels(LAPACK_COL_MAJOR, 'N', rows, static_cast<lapack_int>(a.cols()), 1, a.data(),
                                  rows, right.data(), rows);
  REQUIRE(info == 0);
  return right.head(a.cols());
}

/// The distance two good solutions may have, relative to |x|.
double allowed(const MatrixXcd& a, const VectorXcd& b, const Solved& solved) {
  const double sine = std::min(1.0, (b - a * solved.x).norm() / b.norm());
  const double cosine = std::max(std::sqrt(1.0 - sine * sine), 1e-3);
  const double kappa = solved.condition;
  return factor * std::numeric_limits<double>::epsilon() *
         (2.0 * kappa / cosine + kappa * kappa * sine / cosine);
}

double apart(const VectorXcd& x, const VectorXcd& y) { return (x - y).norm() / y.norm(); }

/// A right side that A can all but reach (`misfit` the size of the rest), so that kappa^2 counts little.
VectorXcd reachable(Draws& draws, const MatrixXcd& a, double misfit) {
  const VectorXcd b = a * draws.matrix(a.cols(), 1);
  return b + misfit * b.norm() * draws.matrix(a.rows(), 1) / std::sqrt(static_cast<double>(2 * a.rows()));
}

VectorXcd correction(const MatrixXcd& a, const VectorXcd& b) {
  const auto solution = minimise_least_squares({-b, a, {}});
  CHECK(solution.status == SolveStatus::solved);
  const double misfit = (a * solution.moments - b).norm();
  const double rounding =
      std::numeric_limits<double>::epsilon() * (a.norm() * solution.moments.norm() + b.norm());
  CHECK(std::abs(solution.objective - misfit) <= factor * rounding);
  CHECK(solution.bound <= solution.objective);
  return solution.moments;
}

/// Runs of a rotor with free pieces only, read by one sensor at one speed: the regression and nothing else.
Job job_of(const MatrixXcd& unbalance, const VectorXcd& x) {
  Job job;
  job.rotor.phase = PhaseConvention::lead;
  for (Index p = 0; p < unbalance.cols(); ++p) {
    Plane plane;
    plane.name = std::to_string(p);
    job.rotor.planes.push_back(plane);
  }
  Sensor sensor;
  sensor.name = "only";
  sensor.bands = {{10000.0, 1.0, {}}};
  job.rotor.sensors = {sensor};
  for (Index r = 0; r < unbalance.rows(); ++r) {
    Run run;
    run.name = std::to_string(r);
    for (Index p = 0; p < unbalance.cols(); ++p)
      run.fitted.push_back({{}, {{std::abs(unbalance(r, p)), RotorAngle::of(unbalance(r, p))}}});
    Reading reading;
    reading.rpm = 3000.0;
    reading.x = x(r);
    reading.amplitude = std::abs(x(r));
    run.readings = {reading};
    job.runs.push_back(run);
  }
  job.fitted_now = job.runs.back().fitted;
  REQUIRE(settle_places(job));
  return job;
}

/// (1, U) with the columns of U brought to unit norm.
MatrixXcd design_of(const MatrixXcd& unbalance) {
  MatrixXcd design(unbalance.rows(), 1 + unbalance.cols());
  design.col(0).setOnes();
  design.rightCols(unbalance.cols()) = unbalance.colwise().normalized() * std::sqrt(unbalance.rows());
  return design;
}

/// Baseline and coefficients as LAPACK's unknowns: times the norms that `design_of` took out.
VectorXcd unknowns_of(const InfluenceRow& row, const MatrixXcd& unbalance) {
  VectorXcd x(1 + unbalance.cols());
  x(0) = row.baseline;
  for (Index p = 0; p < unbalance.cols(); ++p)
    x(1 + p) =
        row.coefficients(p) * unbalance.col(p).norm() / std::sqrt(static_cast<double>(unbalance.rows()));
  return x;
}

}  // namespace

TEST_CASE("the least squares correction is that of zgelsd and zgels on random problems") {
  Draws draws(1);
  for (int trial = 0; trial < 100; ++trial) {
    const Index planes = 1 + trial % 4;
    const Index rows = planes + trial % 11;
    const MatrixXcd a = draws.matrix(rows, planes);
    const VectorXcd b = draws.matrix(rows, 1);
    const auto theirs = gelsd(a, b, 1e-12);
    const VectorXcd ours = correction(a, b);
    CAPTURE(trial);
    CHECK(apart(ours, theirs.x) <= allowed(a, b, theirs));
    CHECK(apart(ours, gels(a, b)) <= allowed(a, b, theirs));
  }
}

TEST_CASE("the least squares correction is that of zgelsd where planes act nearly alike") {
  Draws draws(2);
  for (const double condition : {1e2, 1e4, 1e6, 1e8})
    for (int trial = 0; trial < 25; ++trial) {
      const Index planes = 2 + trial % 3;
      const MatrixXcd a = draws.conditioned(planes + 2 + trial % 7, planes, planes, condition);
      const VectorXcd b = reachable(draws, a, trial % 2 == 0 ? 0.0 : 1e-3);
      const auto theirs = gelsd(a, b, 1e-12);
      REQUIRE(theirs.condition == doctest::Approx(condition).epsilon(1e-3));
      const VectorXcd ours = correction(a, b);
      CAPTURE(condition);
      CAPTURE(trial);
      CHECK(apart(ours, theirs.x) <= allowed(a, b, theirs));
    }
}

TEST_CASE("where planes act alike the correction is the smallest one, as zgelsd's") {
  Draws draws(3);
  for (int trial = 0; trial < 60; ++trial) {
    const Index planes = 2 + trial % 3;
    const MatrixXcd a = draws.conditioned(planes + 3, planes, 1 + trial % (planes - 1), 3.0);
    const VectorXcd b = draws.matrix(a.rows(), 1);
    const auto theirs = gelsd(a, b, 1e-10);
    REQUIRE(theirs.rank < planes);
    CAPTURE(trial);
    CHECK(apart(correction(a, b), theirs.x) <= allowed(a, b, theirs));
  }
}

TEST_CASE("with fewer readings than planes the correction is the smallest one, as zgelsd's") {
  Draws draws(4);
  for (int trial = 0; trial < 30; ++trial) {
    const MatrixXcd a = draws.matrix(1 + trial % 2, 3);
    const VectorXcd b = draws.matrix(a.rows(), 1);
    const auto theirs = gelsd(a, b, 1e-12);
    CAPTURE(trial);
    CHECK(apart(correction(a, b), theirs.x) <= allowed(a, b, theirs));
  }
}

TEST_CASE("influence coefficients are those of zgelsd and zgels on random runs") {
  Draws draws(5);
  for (int trial = 0; trial < 60; ++trial) {
    const Index planes = 1 + trial % 3;
    const MatrixXcd unbalance = 700.0 * draws.matrix(planes + 1 + trial % 6, planes);
    const VectorXcd x = draws.matrix(unbalance.rows(), 1);
    const MatrixXcd design = design_of(unbalance);
    const auto theirs = gelsd(design, x, 1e-12);
    const auto model = fit_influence(job_of(unbalance, x));
    REQUIRE(model);
    const VectorXcd ours = unknowns_of(model->rows.front(), unbalance);
    CAPTURE(trial);
    CHECK(apart(ours, theirs.x) <= allowed(design, x, theirs));
    CHECK(apart(ours, gels(design, x)) <= allowed(design, x, theirs));
  }
}

TEST_CASE("influence coefficients are those of zgelsd where the planes' weights changed nearly together") {
  Draws draws(6);
  for (const double alike : {1e2, 1e4, 1e6, 1e7})
    for (int trial = 0; trial < 20; ++trial) {
      MatrixXcd unbalance = 700.0 * draws.matrix(4 + trial % 5, 2);
      const VectorXcd own = unbalance.col(1);
      unbalance.col(1) = unbalance.col(0) * std::complex<double>(0.4, 0.7) + own / alike;
      const MatrixXcd design = design_of(unbalance);
      const VectorXcd x = reachable(draws, design, trial % 2 == 0 ? 0.0 : 1e-3);
      const auto theirs = gelsd(design, x, 1e-12);
      const auto model = fit_influence(job_of(unbalance, x));
      REQUIRE(model);
      CAPTURE(alike);
      CAPTURE(trial);
      CHECK(model->runs.condition > 0.1 * alike);
      CHECK(apart(unknowns_of(model->rows.front(), unbalance), theirs.x) <= allowed(design, x, theirs));
    }
}

TEST_CASE("runs whose matrix zgelsd finds short of rank are refused, the others are not") {
  Draws draws(7);
  for (int trial = 0; trial < 40; ++trial) {
    const bool alike = trial % 2 == 0;
    MatrixXcd unbalance = 700.0 * draws.matrix(4 + trial % 3, 3);
    if (alike) unbalance.col(2) = unbalance.col(0) - std::complex<double>(0.2, 1.1) * unbalance.col(1);
    const VectorXcd x = draws.matrix(unbalance.rows(), 1);
    CAPTURE(trial);
    CHECK(gelsd(design_of(unbalance), x, 1e-10).rank == (alike ? 3 : 4));
    CHECK(fit_influence(job_of(unbalance, x)).has_value() == !alike);
  }
}

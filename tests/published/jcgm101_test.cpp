// Propagation by sampling: the comparison loss in calibrating a microwave power meter, JCGM 101:2008
// (Supplement 1 to the GUM), example 9.4: Y = X1^2 + X2^2, X1 and X2 normal with u = 0.005, X2 of mean 0.
// That is the squared amplitude of a reading whose real and imaginary parts scatter so. Expected: its tables
// 6 (uncorrelated) and 7 (correlation 0.9), estimate, standard uncertainty and shortest interval of 95 %, in
// 1e-6; from memory, and estimate and uncertainty checked by the moments of a normal distribution: x1^2 + 2
// u^2, and 4 u^2 x1^2 + 4 u^4 (1 + r^2) for the variance.

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "forecast/outlook.hpp"

using namespace trimwright;

namespace {

struct PowerLoss {
  double x1, correlation, estimate, uncertainty, low, high;  // the last four in 1e-6
};

constexpr PowerLoss power_losses[] = {
    {0.000, 0.0, 50, 50, 0, 150}, {0.010, 0.0, 150, 112, 0, 367},  {0.050, 0.0, 2550, 502, 1590, 3543},
    {0.000, 0.9, 50, 67, 0, 185}, {0.010, 0.9, 150, 121, 13, 398}, {0.050, 0.9, 2550, 505, 1628, 3555}};

TEST_CASE("sampled amplitudes propagate as in the example of JCGM 101, comparison loss of a power meter") {
  constexpr int samples = 1000000;
  constexpr double u = 0.005;
  for (const PowerLoss& one : power_losses) {
    CAPTURE(one.x1);
    CAPTURE(one.correlation);
    PhasorDistribution reading;
    reading.mean = Eigen::Vector2d(one.x1, 0.0);
    reading.covariance = u * u * Eigen::Matrix2d{{1.0, one.correlation}, {one.correlation, 1.0}};
    const OutlookDraws draws(2, samples, std::numeric_limits<double>::infinity(), 1012008);
    const Eigen::MatrixXd amplitudes = sampled_amplitudes(reading, draws);
    std::vector<double> y(samples);
    for (int k = 0; k < samples; ++k) y[static_cast<std::size_t>(k)] = 1e6 * std::pow(amplitudes(0, k), 2);
    const Eigen::Map<const Eigen::ArrayXd> all(y.data(), samples);
    const double mean = all.mean(), sd = std::sqrt((all - mean).square().mean());
    CHECK(mean == doctest::Approx(one.estimate).epsilon(0.005));
    CHECK(sd == doctest::Approx(one.uncertainty).epsilon(0.01));
    std::sort(y.begin(), y.end());
    const std::size_t inside = samples * 95 / 100;
    std::size_t shortest = 0;
    for (std::size_t k = 0; k + inside < y.size(); ++k)
      if (y[k + inside] - y[k] < y[shortest + inside] - y[shortest]) shortest = k;
    // The ends of a shortest interval are flat in the level: the table's own figures scatter by about 1 %.
    CHECK(std::abs(y[shortest] - one.low) < 0.02 * one.uncertainty + 0.5 + 0.01 * one.low);
    CHECK(std::abs(y[shortest + inside] - one.high) < 0.02 * one.uncertainty + 0.5 + 0.01 * one.high);
  }
}

}  // namespace

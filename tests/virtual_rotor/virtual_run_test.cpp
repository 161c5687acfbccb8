#include "virtual_rotor/virtual_run.hpp"

#include <doctest/doctest.h>

#include <Eigen/QR>
#include <cmath>

#include "some.hpp"
#include "virtual_rotor/demonstration.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

const std::vector<std::complex<double>> fitted{{400.0, 100.0}, {-50.0, 250.0}};
const std::vector<double> speeds{2600.0, 3100.0, 4600.0};

AssembledRotor ready_demonstration() {
  auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  return *std::move(assembled);
}

std::vector<VirtualReading> run(const AssembledRotor& rotor, const RunScatter& scatter, int repeats,
                                std::uint64_t seed) {
  auto readings = virtual_run(rotor, fitted, speeds, scatter, repeats, seed);
  REQUIRE(readings);
  return *std::move(readings);
}

RunScatter none() {
  RunScatter scatter;
  scatter.repeatability = false;
  return scatter;
}

}  // namespace

TEST_CASE("a run without scatter reads the truth at every speed and sensor") {
  const AssembledRotor rotor = ready_demonstration();
  const auto readings = run(rotor, none(), 1, 1);
  REQUIRE(readings.size() == 6);
  for (const VirtualReading& reading : testing::some(readings)) {
    const double speed = speeds[static_cast<std::size_t>(reading.point)];
    CHECK(reading.speed_rpm == speed);
    CHECK(reading.value == vibration(speed_response(rotor, speed), fitted)(reading.sensor));
  }
}

TEST_CASE("repeats scatter by the sensor's repeatability in each real component, about the truth") {
  const AssembledRotor rotor = ready_demonstration();
  constexpr int repeats = 1500;
  double real = 0.0, imaginary = 0.0, cross = 0.0;
  for (const VirtualReading& reading : run(rotor, RunScatter{}, repeats, 5)) {
    const double speed = speeds[static_cast<std::size_t>(reading.point)];
    const Phasor off = reading.value - vibration(speed_response(rotor, speed), fitted)(reading.sensor);
    real += off.real() * off.real();
    imaginary += off.imag() * off.imag();
    cross += off.real() * off.imag();
  }
  const double n = 6.0 * repeats,
               variance = 0.15 * 0.15;  // both sensors of the demonstration rotor: 0.15 mm/s
  CHECK(real / n == doctest::Approx(variance).epsilon(4.5 * std::sqrt(2.0 / n)));
  CHECK(imaginary / n == doctest::Approx(variance).epsilon(4.5 * std::sqrt(2.0 / n)));
  CHECK(std::abs(cross / n) < 4.5 * variance / std::sqrt(n));
}

TEST_CASE("blades seating anew act as one small unbalance per plane, the same at all readings of a run") {
  const AssembledRotor rotor = ready_demonstration();
  RunScatter scatter = none();
  scatter.seating_moment = 40.0;
  double square = 0.0;
  constexpr int runs = 400;
  Eigen::MatrixXcd influence(6, 2);
  Eigen::VectorXcd truth(6);
  for (Eigen::Index point = 0; point < 3; ++point) {
    const SpeedResponse response = speed_response(rotor, speeds[static_cast<std::size_t>(point)]);
    influence.middleRows(2 * point, 2) = response.influence;
    truth.segment(2 * point, 2) = vibration(response, fitted);
  }
  const auto factors = influence.householderQr();
  for (std::uint64_t seed = 0; seed < runs; ++seed) {
    const auto readings = run(rotor, scatter, 1, seed);
    Eigen::VectorXcd off(6);
    for (Eigen::Index i = 0; i < 6; ++i) off(i) = readings[static_cast<std::size_t>(i)].value - truth(i);
    const Eigen::VectorXcd moment = factors.solve(off);
    CHECK((off - influence * moment).norm() < 1e-9 * off.norm());
    square += moment.squaredNorm();
  }
  const double n = 4.0 * runs;  // real components
  CHECK(square / n == doctest::Approx(40.0 * 40.0).epsilon(4.5 * std::sqrt(2.0 / n)));
}

TEST_CASE("the gain of a run is one factor for all its readings, that of a reading is not") {
  const AssembledRotor rotor = ready_demonstration();
  const auto truth = run(rotor, none(), 1, 9);
  RunScatter scatter = none();
  scatter.gain_of_run = 0.05;
  const auto together = run(rotor, scatter, 1, 9);
  const Phasor factor = together[0].value / truth[0].value;
  CHECK(std::abs(factor - 1.0) > 1e-4);
  scatter = none();
  scatter.gain_of_reading = 0.05;
  const auto apart = run(rotor, scatter, 1, 9);
  REQUIRE(truth.size() > 1);
  REQUIRE(together.size() == truth.size());
  REQUIRE(apart.size() == truth.size());
  for (std::size_t i = 1; i < truth.size(); ++i) {
    CHECK(std::abs(together[i].value / truth[i].value - factor) < 1e-12);
    CHECK(std::abs(apart[i].value / truth[i].value - apart[0].value / truth[0].value) > 1e-4);
  }
}

TEST_CASE("a run at a speed not quite held reads what the rotor does at the speed really held") {
  const AssembledRotor rotor = ready_demonstration();
  RunScatter scatter = none();
  scatter.speed = 0.004;
  for (const VirtualReading& reading : testing::some(run(rotor, scatter, 2, 21))) {
    CHECK(reading.speed_rpm != speeds[static_cast<std::size_t>(reading.point)]);
    CHECK(reading.value == vibration(speed_response(rotor, reading.speed_rpm), fitted)(reading.sensor));
  }
}

TEST_CASE("the same seed gives the same run, another seed another") {
  const AssembledRotor rotor = ready_demonstration();
  CHECK(run(rotor, RunScatter{}, 1, 3)[4].value == run(rotor, RunScatter{}, 1, 3)[4].value);
  CHECK(run(rotor, RunScatter{}, 1, 3)[4].value != run(rotor, RunScatter{}, 1, 4)[4].value);
}

TEST_CASE("a run that cannot be is refused") {
  const AssembledRotor rotor = ready_demonstration();
  CHECK_FALSE(virtual_run(rotor, {{1.0, 0.0}}, speeds, {}, 1, 0));
  CHECK_FALSE(virtual_run(rotor, {{1.0, 0.0}, {NAN, 0.0}}, speeds, {}, 1, 0));
  CHECK_FALSE(virtual_run(rotor, fitted, {0.0}, {}, 1, 0));
  CHECK_FALSE(virtual_run(rotor, fitted, speeds, {}, 0, 0));
}

#include "trimwright/files.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace trimwright;

namespace {

/// A prior with so many coefficients in two planes, its numbers as long as a double's can be.
Prior prior_of(int coefficients) {
  Prior prior;
  prior.rotor = "Larkmere \"demonstrator\" fan: 1\\2";
  prior.jobs = 7;
  prior.scatter.sd = {0.1 / 3.0, 0.2 / 3.0, 0.05 / 3.0, 0.07 / 3.0, 0.01 / 3.0};
  for (int i = 0; i < FleetScatter::parts; ++i)
    for (int j = 0; j < FleetScatter::parts; ++j)
      prior.scatter.covariance(i, j) = i == j ? 1e-5 / 3.0 : 1e-7 / 7.0;
  for (int c = 0; c < coefficients; ++c)
    prior.coefficients.push_back({2000.0 + c / 3.0, c % 2 == 0 ? "front" : "turbine, aft",
                                  c % 4 < 2 ? "spinner" : "# drum", "in/s",
                                  std::polar(1e-4 * (1.0 + c / 7.0), 0.1 * c), 3 + c % 5});
  const Eigen::Index n = 2 * coefficients;
  prior.mean_covariance = Eigen::MatrixXd::Constant(n, n, -1e-7 / 3.0 / static_cast<double>(n));
  prior.mean_covariance.diagonal().array() += 1e-4 / 3.0;
  return prior;
}

}  // namespace

TEST_CASE("A prior of any size that is written is read back as it was") {
  for (const int coefficients : {1, 2, 24, 30, 150, 330}) {
    CAPTURE(coefficients);
    const Prior prior = prior_of(coefficients);
    const auto read = parse_prior("prior.yaml", prior_text(prior));
    REQUIRE_MESSAGE(read, (read ? "" : read.error().message()));
    CHECK(read->rotor == prior.rotor);
    CHECK(read->jobs == prior.jobs);
    CHECK(read->scatter.sd == prior.scatter.sd);
    CHECK(read->scatter.covariance == prior.scatter.covariance);
    CHECK(read->mean_covariance == prior.mean_covariance);
    REQUIRE(read->coefficients.size() == prior.coefficients.size());
    REQUIRE_FALSE(prior.coefficients.empty());
    for (std::size_t c = 0; c < prior.coefficients.size(); ++c) {
      CHECK(read->coefficients[c].rpm == prior.coefficients[c].rpm);
      CHECK(read->coefficients[c].sensor == prior.coefficients[c].sensor);
      CHECK(read->coefficients[c].plane == prior.coefficients[c].plane);
      CHECK(read->coefficients[c].jobs == prior.coefficients[c].jobs);
      CHECK(std::abs(read->coefficients[c].mean - prior.coefficients[c].mean) <
            1e-12 * std::abs(prior.coefficients[c].mean));
    }
  }
}

TEST_CASE("A prior written before critical speeds were a part of the scatter is read") {
  Prior prior = prior_of(4);
  prior.scatter.sd[4] = 0.0;
  prior.scatter.covariance.row(4).setZero();
  prior.scatter.covariance.col(4).setZero();
  std::string text = prior_text(prior);
  const auto part = text.find("  critical_speeds:");
  text.erase(part, text.find('\n', part) + 1 - part);
  const auto row = text.find("  - [0, 0, 0, 0, 0]\n");
  REQUIRE(row != std::string::npos);
  text.erase(row, text.find('\n', row) + 1 - row);
  const auto read = parse_prior("prior.yaml", text);
  REQUIRE_MESSAGE(read, (read ? "" : read.error().message()));
  CHECK(read->scatter.sd == prior.scatter.sd);
  CHECK(read->scatter.covariance == prior.scatter.covariance);
}

TEST_CASE("A prior with one coefficient twice is refused") {
  Prior prior = prior_of(2);
  prior.coefficients[1] = prior.coefficients[0];
  const auto read = parse_prior("prior.yaml", prior_text(prior));
  REQUIRE_FALSE(read);
  CHECK(read.error().where.key == "coefficients[1]");
}

TEST_CASE("A prior with a coefficient of fewer jobs than tell the scatter is refused") {
  Prior prior = prior_of(2);
  prior.coefficients[1].jobs = 2;
  const auto read = parse_prior("prior.yaml", prior_text(prior));
  REQUIRE_FALSE(read);
  CHECK(read.error().where.key == "coefficients[1].jobs");
}

TEST_CASE("A prior that names a plane, a sensor or a unit the rotor does not have is refused where it does") {
  Rotor rotor;
  rotor.planes.resize(2);
  rotor.planes[0].name = "spinner";
  rotor.planes[1].name = "# drum";
  rotor.sensors.resize(2);
  rotor.sensors[0].name = "front";
  rotor.sensors[1].name = "turbine, aft";
  for (auto& sensor : rotor.sensors) sensor.unit = parse_vibration_unit("in/s peak").value();
  const Prior prior = prior_of(4);
  REQUIRE(parse_prior("prior.yaml", prior_text(prior), &rotor));
  const auto refused_at = [&](auto change) {
    Prior changed = prior;
    change(changed.coefficients[2]);
    const auto read = parse_prior("prior.yaml", prior_text(changed), &rotor);
    return read ? std::string("not refused") : read.error().where.key;
  };
  CHECK(refused_at([](PriorCoefficient& one) { one.plane = "spiner"; }) == "coefficients[2].plane");
  CHECK(refused_at([](PriorCoefficient& one) { one.sensor = "tail"; }) == "coefficients[2].sensor");
  CHECK(refused_at([](PriorCoefficient& one) { one.unit = "mm/s"; }) == "coefficients[2].unit");
}

#include "virtual_rotor/virtual_recording.hpp"

#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <cmath>
#include <functional>
#include <numbers>

#include "virtual_rotor/demonstration.hpp"

using namespace trimwright;
using namespace trimwright::virtual_rotor;

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

AssembledRotor demonstration() {
  auto assembled = assemble(demonstration_rotor());
  REQUIRE(assembled);
  return *std::move(assembled);
}

/// One element and both sensors, dwelling; nothing but the rotor's own vibration.
RecordingSetup quiet_setup(double speed_rpm, double seconds) {
  RecordingSetup setup;
  setup.unbalance = {{300.0, -100.0}, {80.0, 60.0}};
  setup.speed.start_rpm = speed_rpm;
  setup.speed.start_angle_deg = 123.0;
  setup.speed.dwell(seconds);
  setup.sample_rate = 20000.0;
  setup.elements = {SensingElement{}};
  setup.elements[0].name = "tooth";
  setup.vibration.resize(2);
  setup.vibration[1].sensor = 1;
  setup.seed = 77;
  return setup;
}

RecordingSetup busy_setup() {
  RecordingSetup setup = quiet_setup(2500.0, 0.5);
  setup.speed.ramp_to(2700.0, 1.0);
  setup.elements[0].noise_rms = 0.1;
  setup.elements[0].debris.missing = 0.02;
  setup.elements[0].baseline_volts = 0.4;
  for (VibrationChannel& channel : setup.vibration) {
    channel.noise_rms = 0.5;
    channel.orders = {{2.37, 1.5, 40.0, 1.0}, {22.0, 0.8, 0.0, 2.0}};
    channel.fixed = {{50.0, 0.3, 10.0}};
  }
  return setup;
}

VirtualRecording recording_of(const AssembledRotor& rotor, const RecordingSetup& setup) {
  auto recording = VirtualRecording::of(rotor, setup);
  REQUIRE(recording);
  return *std::move(recording);
}

/// Times at which a pulse higher than `threshold` turns negative: the larger tooth's centre.
std::vector<double> reference_times(const Eigen::VectorXd& volts, double threshold, double sample_rate) {
  std::vector<double> times;
  bool armed = false;
  for (Eigen::Index i = 1; i < volts.size(); ++i) {
    if (volts(i) > threshold) armed = true;
    if (!armed || volts(i) > 0.0) continue;
    armed = false;
    times.push_back((static_cast<double>(i) - volts(i) / (volts(i) - volts(i - 1))) / sample_rate);
  }
  return times;
}

std::string complaint(const std::function<void(RecordingSetup&)>& spoil) {
  RecordingSetup setup = busy_setup();
  spoil(setup);
  const auto recording = VirtualRecording::of(demonstration(), setup);
  return recording ? "" : recording.error().where.key;
}

}  // namespace

TEST_CASE("a recording's tooth and vibration waveforms together give the rotor's true amplitude and phase") {
  const AssembledRotor rotor = demonstration();
  const double speed_rpm = 3100.0;
  const RecordingSetup setup = quiet_setup(speed_rpm, 2.0);
  const VirtualRecording recording = recording_of(rotor, setup);
  const Eigen::MatrixXd signals = recording.block(0, recording.samples());
  const double tooth_volts = setup.elements[0].volts_at_full_speed * speed_rpm / rotor.rotor().full_speed_rpm;
  const auto passages = reference_times(signals.col(0), 1.15 * tooth_volts, setup.sample_rate);
  REQUIRE(passages.size() > 90);
  CHECK(passages.back() - passages.front() ==
        doctest::Approx(static_cast<double>(passages.size() - 1) * 60.0 / speed_rpm).epsilon(1e-6));

  const Eigen::VectorXcd truth = vibration(speed_response(rotor, speed_rpm), setup.unbalance);
  const double spin = rad_per_s(speed_rpm);
  for (Eigen::Index s = 0; s < 2; ++s) {
    Eigen::MatrixX2d waves(signals.rows(), 2);  // Re(X e^{j spin t}), t from a passage of the reference tooth
    for (Eigen::Index i = 0; i < signals.rows(); ++i) {
      const double turned = spin * (static_cast<double>(i) / setup.sample_rate - passages[10]);
      waves.row(i) << std::cos(turned), -std::sin(turned);
    }
    const Eigen::Vector2d fit =
        (waves.transpose() * waves).ldlt().solve(waves.transpose() * signals.col(s + 1));
    CHECK(std::abs(Phasor(fit(0), fit(1)) - truth(s)) < 0.002 * std::abs(truth(s)));  // interpolated crossing
  }
}

TEST_CASE("a recording is the same whatever the blocks it is read in") {
  const VirtualRecording recording = recording_of(demonstration(), busy_setup());
  const Eigen::MatrixXd whole = recording.block(0, 3000);
  CHECK(recording.block(0, 1) == whole.topRows(1));
  CHECK(recording.block(1, 1234) == whole.middleRows(1, 1234));
  CHECK(recording.block(1235, 1765) == whole.bottomRows(1765));
  CHECK(recording.samples() == 30000);
  CHECK(recording.block(recording.samples(), 0).rows() == 0);
}

TEST_CASE("the same seed gives the same recording, another seed other noise") {
  RecordingSetup setup = busy_setup();
  const AssembledRotor rotor = demonstration();
  const Eigen::MatrixXd first = recording_of(rotor, setup).block(500, 200);
  CHECK(recording_of(rotor, setup).block(500, 200) == first);
  setup.seed += 1;
  CHECK(recording_of(rotor, setup).block(500, 200) != first);
}

TEST_CASE("noise has the stated rms and differs from channel to channel") {
  RecordingSetup setup = quiet_setup(3000.0, 2.0);
  const AssembledRotor rotor = demonstration();
  const Eigen::MatrixXd clean = recording_of(rotor, setup).block(0, 40000);
  setup.elements[0].noise_rms = 0.2;
  setup.vibration[0].noise_rms = setup.vibration[1].noise_rms = 0.5;
  const Eigen::MatrixXd noise = recording_of(rotor, setup).block(0, 40000) - clean;
  const double tolerance = 4.5 / std::sqrt(2.0 * 40000.0);
  CHECK(noise.col(0).norm() / 200.0 == doctest::Approx(0.2).epsilon(tolerance));
  CHECK(noise.col(1).norm() / 200.0 == doctest::Approx(0.5).epsilon(tolerance));
  CHECK(std::abs(noise.col(1).dot(noise.col(2))) / 40000.0 < 4.5 * 0.25 / 200.0);
}

TEST_CASE("the other shaft, blade passing and hum are there at their frequencies and amplitudes") {
  const AssembledRotor rotor = demonstration();
  const double speed_rpm = rotor.rotor().full_speed_rpm / 2.0;
  RecordingSetup setup = quiet_setup(speed_rpm, 1.0);
  setup.speed.start_angle_deg = 0.0;
  const Eigen::MatrixXd clean = recording_of(rotor, setup).block(0, 20000);
  setup.vibration[0].orders = {{2.37, 1.5, 40.0, 1.0}, {22.0, 0.8, 0.0, 2.0}};
  setup.vibration[0].fixed = {{50.0, 0.3, 10.0}};
  setup.vibration[0].offset = 0.05;
  const Eigen::VectorXd added = (recording_of(rotor, setup).block(0, 20000) - clean).col(1);
  for (Eigen::Index i = 0; i < 20000; i += 777) {
    const double t = static_cast<double>(i) / 20000.0, hz = speed_rpm / 60.0;
    const double expected = 0.05 + 0.75 * std::cos(two_pi * (2.37 * hz * t + 40.0 / 360.0)) +
                            0.2 * std::cos(two_pi * 22.0 * hz * t) +
                            0.3 * std::cos(two_pi * (50.0 * t + 10.0 / 360.0));
    CHECK(added(i) == doctest::Approx(expected).epsilon(1e-8));
  }
}

TEST_CASE("a delayed channel shows what was there before") {
  const AssembledRotor rotor = demonstration();
  RecordingSetup setup = quiet_setup(3000.0, 1.0);
  setup.speed.ramp_to(3200.0, 2.0);
  const Eigen::MatrixXd prompt = recording_of(rotor, setup).block(19000, 3000);
  setup.vibration[0].delay_s = 100.0 / setup.sample_rate;
  const Eigen::MatrixXd late = recording_of(rotor, setup).block(19100, 3000);
  CHECK((late.col(1) - prompt.col(1)).cwiseAbs().maxCoeff() < 1e-9);
}

TEST_CASE("between the speeds worked out, the vibration is interpolated to a millionth") {
  const AssembledRotor rotor = demonstration();
  RecordingSetup setup = quiet_setup(2400.0, 1.0);
  setup.speed.ramp_to(3600.0, 10.0);
  const VirtualRecording recording = recording_of(rotor, setup);
  for (double speed = 2401.3; speed < 3600.0; speed += 37.7) {
    const Eigen::VectorXcd truth = vibration(speed_response(rotor, speed), setup.unbalance);
    for (std::size_t c = 0; c < 2; ++c) {
      const Phasor exact = truth(static_cast<Eigen::Index>(c));
      CHECK(std::abs(recording.truth(c, speed) - exact) < 1e-6 * std::abs(exact));
    }
  }
}

TEST_CASE("a recording that cannot be is refused with the key that is wrong") {
  CHECK(complaint([](RecordingSetup&) {}).empty());
  CHECK(complaint([](RecordingSetup& s) { s.unbalance.pop_back(); }) == "unbalance");
  CHECK(complaint([](RecordingSetup& s) { s.unbalance[0] = {NAN, 0.0}; }) == "unbalance");
  CHECK(complaint([](RecordingSetup& s) { s.sample_rate = 0.0; }) == "sample_rate");
  CHECK(complaint([](RecordingSetup& s) { s.sample_rate = 1800.0; }) == "vibration[0].orders.order");
  CHECK(complaint([](RecordingSetup& s) { s.vibration[1].sensor = 5; }) == "vibration[1].sensor");
  CHECK(complaint([](RecordingSetup& s) { s.vibration[1].delay_s = -1.0; }) == "vibration[1].delay_s");
  CHECK(complaint([](RecordingSetup& s) { s.speed.pieces.clear(); }) == "speed");
  CHECK(complaint([](RecordingSetup& s) { s.elements[0].debris.extra = -0.1; }) ==
        "elements[0].debris.extra");
}

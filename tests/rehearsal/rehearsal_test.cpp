#include "rehearsal/rehearsal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "base/new_file.hpp"
#include "io/read_recording.hpp"
#include "scratch_folder.hpp"
#include "some.hpp"
#include "trimwright/files.hpp"
#include "virtual_rotor/response.hpp"

using namespace trimwright;

namespace {

/// A rehearsal in a folder that goes away again.
class Practice {
 public:
  explicit Practice(std::uint64_t seed, RehearsalDay day = RehearsalDay::calm) {
    REQUIRE(create_rehearsal(folder(), seed, day));
  }

  [[nodiscard]] std::string folder() const { return folder_.path(); }
  [[nodiscard]] std::string file(const std::string& name) const { return folder_.path(name); }
  [[nodiscard]] Rehearsal read() const {
    auto rehearsal = read_rehearsal(folder());
    REQUIRE(rehearsal);
    return *std::move(rehearsal);
  }
  void replace(const std::string& name, const std::string& old_text, const std::string& new_text) const {
    std::string text = *read_text_file(file(name));
    const auto at = text.find(old_text);
    REQUIRE(at != std::string::npos);
    text.replace(at, old_text.size(), new_text);
    REQUIRE(write_text_file(file(name), text));
  }

 private:
  trimwright::testing::ScratchFolder folder_;
};

std::string complaint(const Practice& practice) {
  const auto read = read_rehearsal(practice.folder());
  return read ? "" : read.error().message();
}

/// The job after a run with nothing fitted, and what its recording says by the first `elements` pickups.
std::pair<Job, Recording> recorded_as_found(const Practice& practice, std::size_t elements = 2) {
  const Rehearsal rehearsal = practice.read();
  const Job empty = *rehearsal_job(rehearsal);
  const auto made = make_run(rehearsal, empty, {"as found", empty.fitted_now, false});
  REQUIRE(made);
  const auto file = read_job(practice.file("job.yaml"), ReadingTables::leave_out);
  REQUIRE(file);
  REQUIRE(file->recording);
  RecordingPlan plan = *file->recording;
  REQUIRE(plan.reference.size() == 2);
  plan.reference.resize(elements);
  auto recording = read_recording(made->made, plan, file->job.rotor, {});
  REQUIRE(recording);
  return {file->job, *std::move(recording)};
}

bool holds(const std::string& text, const std::string& word) { return text.find(word) != std::string::npos; }

/// Amplitudes as the model gives them, without the library's conversions: mm/s peak, phase lead.
Phasor model_level(const Rehearsal& rehearsal, double rpm, std::size_t sensor,
                   const std::vector<std::complex<double>>& unbalance) {
  return virtual_rotor::vibration(virtual_rotor::speed_response(rehearsal.truth, rpm),
                                  unbalance)(static_cast<Eigen::Index>(sensor));
}

}  // namespace

TEST_CASE("a velocity of the model shown as displacement is divided by the speed and lags 90 degrees") {
  Sensor sensor;
  sensor.unit = *parse_vibration_unit("um pp");
  sensor.phase_of = MotionQuantity::displacement;
  const double omega = 2.0 * std::numbers::pi * 50.0;
  const Phasor x =
      in_sensor_unit(sensor, virtual_rotor::Quantity::velocity, omega * 0.010, 3000.0);  // 10 um peak
  CHECK(x.real() == doctest::Approx(0.0).epsilon(1e-9));
  CHECK(x.imag() == doctest::Approx(-10.0));
  sensor.unit = *parse_vibration_unit("in/s rms");
  const Phasor same = in_sensor_unit(sensor, virtual_rotor::Quantity::velocity, Phasor{25.4, 0.0}, 3000.0);
  CHECK(same.real() == doctest::Approx(1.0));
}

TEST_CASE("a job written by a run is read back with what was fitted, in full") {
  const Practice practice(3);
  const Rehearsal rehearsal = practice.read();
  Job job = *rehearsal_job(rehearsal);
  CHECK(job.runs.empty());
  const auto fitted =
      refitted(job, {"", "", {}, {"spinner 4=K3", "spinner 40=K7", "drum 7=D7", "drum 8=333.5 g.mm"}});
  REQUIRE(fitted);
  REQUIRE(make_run(rehearsal, job, {"as found", *fitted, true}));
  const auto file = read_job(practice.file("job.yaml"));
  REQUIRE(file);
  REQUIRE(file->job.runs.size() == 1);
  for (std::size_t p = 0; p < 2; ++p) CHECK(file->job.runs[0].fitted[p].slots == (*fitted)[p].slots);
  CHECK(file->job.runs[0].readings.size() == 10);
  CHECK(file->job.speeds_rpm.size() == 5);

  job = *rehearsal_job(rehearsal);
  const auto back = refitted(job, {"", "", {"drum 8"}, {}});
  REQUIRE(back);
  REQUIRE(make_run(rehearsal, job, {"second", *back, true}));
  const auto both = read_job(practice.file("job.yaml"));
  REQUIRE(both);
  CHECK(both->job.runs.size() == 2);
  CHECK(both->job.fitted_now[1].slots.size() == 1);
  CHECK(both->job.runs[1].readings.size() == 10);
}

TEST_CASE("on a harder day a run ends where a level passes its limit, and the rotor as found stays below") {
  const Practice practice(3, RehearsalDay::loose_reference);
  const Rehearsal rehearsal = practice.read();
  Job job = *rehearsal_job(rehearsal);
  const auto as_found = make_run(rehearsal, job, {"as found", job.fitted_now, true});
  REQUIRE(as_found);
  CHECK(as_found->stopped.empty());
  job = *rehearsal_job(rehearsal);
  const auto heavy = refitted(job, {"", "", {}, {"drum 3=D12"}});
  REQUIRE(heavy);
  const auto stopped = make_run(rehearsal, job, {"heavy", *heavy, true});
  REQUIRE(stopped);
  CHECK(holds(stopped->stopped, "passed its limit"));
  const auto file = read_job(practice.file("job.yaml"));
  REQUIRE(file);
  const auto& readings = file->job.runs[1].readings;
  CHECK(file->job.runs[0].readings.size() == 10);
  CHECK(readings.size() < 10);
  for (const auto& one : testing::some(readings))
    CHECK(one.amplitude < 1.05 * place_of(file->job, one.speed, one.sensor).limit);
  const auto none =
      refitted(job, {"", "", {}, {"spinner 4=K7", "spinner 5=K7", "spinner 6=K7", "spinner 7=K7"}});
  REQUIRE(none);
  CHECK_FALSE(make_run(rehearsal, job, {"far too heavy", *none, true}));
}

TEST_CASE("a planted slip is in one run at most, told by the truth and by nothing else") {
  int planted = 0;
  for (const std::uint64_t seed : {11u, 12u, 13u, 14u, 15u, 16u}) {
    const Practice practice(seed, RehearsalDay::slip);
    const Rehearsal rehearsal = practice.read();
    const std::vector<std::vector<std::string>> fits{{}, {"spinner 4=K2"}, {"drum 3=D3"}, {"spinner 9=K3"}};
    for (std::size_t r = 0; r < fits.size(); ++r) {
      const Job job = *rehearsal_job(rehearsal);
      const auto fitted = refitted(job, {r == 0 ? "" : "run 0", "", {}, fits[r]});
      REQUIRE(fitted);
      REQUIRE(make_run(rehearsal, job, {"run " + std::to_string(r), *fitted, true}));
      CHECK(rehearsal_job(rehearsal)->runs[r].fitted[0].slots == (*fitted)[0].slots);
    }
    const auto truth = rehearsal_truth(rehearsal, *rehearsal_job(rehearsal));
    REQUIRE(truth);
    planted += !truth->slip.empty();
    CHECK(holds(truth_text(*truth), "WHAT WENT WRONG") == !truth->slip.empty());
    CHECK_FALSE(holds(*read_text_file(practice.file("job.yaml")), "slip"));
  }
  CHECK(planted >= 3);
  CHECK(planted <= 6);
}

TEST_CASE("a moment that no slot could hold is refused") {
  const Practice practice(3);
  const Job job = *rehearsal_job(practice.read());
  CHECK_FALSE(refitted(job, {"", "", {}, {"spinner 4=1000000 g.mm"}}));
  CHECK(refitted(job, {"", "", {}, {"spinner 4=3000 g.mm"}}));
}

TEST_CASE("without scatter the readings are the model's levels, whatever the conventions of the rotor file") {
  for (const std::string phase : {"lag", "lead"}) {
    const Practice practice(5);
    practice.replace("rotor.yaml", "phase: lag", "phase: " + phase);
    practice.replace("rehearsal.yaml", "8 g.mm", "0 g.mm");
    practice.replace("rehearsal.yaml", "run: 0.4 %", "run: 0 %");
    practice.replace("rehearsal.yaml", "reading: 0.2 %", "reading: 0 %");
    practice.replace("rehearsal.yaml", "speed: 0.1 %", "speed: 0 %");
    const Rehearsal rehearsal = practice.read();
    const Job empty = *rehearsal_job(rehearsal);
    const auto fitted = *refitted(empty, {"", "", {}, {"spinner 4=K5"}});
    REQUIRE(make_run(rehearsal, empty, {"as found", fitted, true}));
    const auto file = read_job(practice.file("job.yaml"));
    REQUIRE(file);
    const auto unbalance = run_unbalance(file->job, 0);
    for (const Reading& reading : testing::some(file->job.runs[0].readings)) {
      const double mm_s = reading.sensor == 0 ? 25.4 : 1.0;  // both are kept as peak of their own symbol
      const Phasor expected = model_level(rehearsal, reading.rpm, reading.sensor, unbalance) / mm_s;
      const double repeatability = *rehearsal.rotor.sensors[reading.sensor].repeatability;
      CHECK(std::abs(*reading.x - expected) < 5.0 * repeatability);
    }
  }
}

TEST_CASE("a recording gives back the levels of the model, an inward sensor and the chain's delay included") {
  const Practice practice(2);
  practice.replace("rehearsal.yaml", "8 g.mm", "0 g.mm");
  practice.replace("rehearsal.yaml", "run: 0.4 %", "run: 0 %");
  const Rehearsal rehearsal = practice.read();
  const auto [job, recording] = recorded_as_found(practice);
  CHECK(recording.readings.size() == 10);
  const auto unbalance = run_unbalance(job, 0);
  for (const auto& reading : testing::some(recording.readings)) {
    REQUIRE(reading.x);
    const double mm_s = reading.sensor == 0 ? 25.4 : 1.0;
    const Phasor expected = model_level(rehearsal, reading.rpm, reading.sensor, unbalance) / mm_s;
    CHECK(std::abs(*reading.x - expected) < 0.01 * std::abs(expected) + 0.05 / mm_s);
  }
}

TEST_CASE(
    "debris on the first pickup's tip is found in the recording, and with much of it the second is read") {
  for (const int percent : {2, 40}) {
    CAPTURE(percent);
    const Practice practice(3);
    practice.replace("rehearsal.yaml", "lost: 0 %", "lost: " + std::to_string(percent) + " %");
    const Recording recording = recorded_as_found(practice).second;
    CHECK(recording.readings.size() == 10);
    CHECK(recording.extraction.health.has(FindingKind::dropped_pulses) == (percent == 2));
    CHECK(recording.element_used == (percent == 40 ? 1 : 0));
    for (const auto& reading : testing::some(recording.readings)) CHECK(reading.x.has_value());
  }
}

TEST_CASE("with much debris on the only pickup's tip nothing is read") {
  const Practice practice(3);
  practice.replace("rehearsal.yaml", "lost: 0 %", "lost: 40 %");
  const Recording recording = recorded_as_found(practice, 1).second;
  CHECK(recording.extraction.health.has(FindingKind::dropped_pulses));
  CHECK(recording.readings.empty());
}

TEST_CASE("the unbalance that acts like the hidden one leaves little when it is taken away") {
  const Practice practice(1);
  const Rehearsal rehearsal = practice.read();
  const Job job = *rehearsal_job(rehearsal);
  const auto truth = rehearsal_truth(rehearsal, job);
  REQUIRE(truth);
  const auto removed = std::vector<std::complex<double>>{-truth->equivalent[0], -truth->equivalent[1]};
  for (const double rpm : truth->job.speeds_rpm)
    for (std::size_t s = 0; s < 2; ++s) {
      const double left = std::abs(model_level(rehearsal, rpm, s, removed));
      CHECK(left < 0.1 * 25.4 * 0.6);  // a tenth of the front limit
    }
}

TEST_CASE("a rehearsal that cannot be is refused with what is wrong") {
  const Practice practice(1);
  CHECK(complaint(practice).empty());
  CHECK(holds(create_rehearsal(practice.folder(), 2).error().message(), "there already"));
  const std::string rotor = *read_text_file(practice.file("rotor.yaml"));
  const auto with = [&](const std::string& old_text, const std::string& new_text) {
    REQUIRE(write_text_file(practice.file("rotor.yaml"), rotor));
    practice.replace("rotor.yaml", old_text, new_text);
    return complaint(practice);
  };
  CHECK(holds(with("name: spinner", "name: hub"), "planes"));
  CHECK(holds(with("name: front", "name: left"), "sensors"));
  CHECK(holds(with("phase: lag", "phase: unknown"), "lag or lead"));
  CHECK(holds(with("speed_100: 5120 rpm", "speed_100: 5000 rpm"), "5120"));
  CHECK(holds(with("{up_to: 105 %, limit: 8 mm/s, target: 2.4 mm/s}", "{up_to: 90 %, limit: 8 mm/s}"),
              "no limit at 96 %"));
  REQUIRE(write_text_file(practice.file("rotor.yaml"), rotor));
  practice.replace("rehearsal.yaml", "speed: 0.1 %", "speed: 50 %");
  CHECK(holds(complaint(practice), "rehearsal.yaml:11: scatter.speed"));
  practice.replace("rehearsal.yaml", "speed: 50 %", "speed: 0.1 %");
  practice.replace("rehearsal.yaml", "gap: 1 mm", "gap: -1 mm");
  CHECK(holds(complaint(practice), "rehearsal.yaml:14: pickup.gap"));
}

TEST_CASE("a rehearsal fits no stack that the stock does not hold, and no weight where it may not be") {
  const Practice practice(3);
  Job job = *rehearsal_job(practice.read());
  Plane& plane = job.rotor.planes[0];
  plane.weights.push_back(stacked(plane.weights[0], plane.weights[0]));
  plane.weights[0].stock = 1;
  plane.weights[1].only_in = {{2}};
  const std::string single = plane.weights[0].id, other = plane.weights[1].id;
  const auto with = [&](const std::string& fit) { return refitted(job, {"", "", {}, {fit}}); };
  CHECK(with("spinner 1=" + single));
  const auto refused = with("spinner 1=" + single + "+" + single);
  REQUIRE_FALSE(refused);
  CHECK(holds(refused.error().message(), "stock is 1"));
  CHECK(with("spinner 2=" + other));
  CHECK_FALSE(with("spinner 1=" + other));
}

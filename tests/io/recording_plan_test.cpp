#include "io/recording_plan.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "io/small_rotor.hpp"
#include "scratch_folder.hpp"
#include "trimwright/files.hpp"
#include "trimwright/phasor.hpp"

using namespace trimwright;
using trimwright::testing::ScratchFolder;
using trimwright::testing::small_rotor;

namespace {

/// A job whose channel of sensor v is `channel`, beside what `more` says.
Result<JobFile> job_with(const ScratchFolder& folder, const std::string& channel,
                         const std::string& more = "", ReadingTables tables = ReadingTables::read) {
  folder.write("rotor.yaml", small_rotor);
  return read_job(
      folder.write("job.yaml", "trimwright: job 1\nrotor: rotor.yaml\n" + more +
                                   "recording:\n  reference: [{channel: 1}]\n  vibration:\n    - " + channel +
                                   "\n  speeds: {from: 5 %, to: 5500 rpm}\n"
                                   "runs:\n  - {name: one, fitted: none}\n"),
      tables);
}

VibrationUnit velocity() { return *parse_vibration_unit("mm/s peak"); }

}  // namespace

TEST_CASE("a sensitivity in volts per unit is read as units per volt, of whatever quantity") {
  const auto plain = parse_sensitivity("100 mV per in/s", velocity());
  REQUIRE(plain);
  CHECK(plain->unit_per_volt == doctest::Approx(10.0));
  CHECK(plain->unit.symbol == "in/s");
  CHECK(plain->unit.detector == Detector::peak);
  const auto acceleration = parse_sensitivity("-0.01 V per g", velocity());
  REQUIRE(acceleration);
  CHECK(acceleration->unit_per_volt == doctest::Approx(-100.0));
  CHECK(acceleration->unit.quantity == MotionQuantity::acceleration);
  for (const char* wrong :
       {"100 mV", "100 per in/s", "100 mV per in/s peak", "0 V per g", "x mV per g", "100 mV per "})
    CHECK_MESSAGE(!parse_sensitivity(wrong, velocity()), wrong);
}

TEST_CASE("a display unit takes a sensitivity per that unit only") {
  CHECK(parse_sensitivity("50 mV per units", display_unit("units"))->unit_per_volt == doctest::Approx(20.0));
  CHECK_FALSE(parse_sensitivity("50 mV per in/s", display_unit("units")));
  CHECK_FALSE(parse_sensitivity("50 mV per units", velocity()));
}

TEST_CASE("a stretch of a recording ends after it begins") {
  const auto span = parse_time_span("10 s to 1.5 min");
  REQUIRE(span);
  CHECK(span->begin_s == 10.0);
  CHECK(span->end_s == 90.0);
  for (const char* wrong : {"10 s to 10 s", "40 s to 10 s", "-1 s to 10 s", "10 to 40", "10 s", "", "a to b"})
    CHECK_MESSAGE(!parse_time_span(wrong), wrong);
}

TEST_CASE("a channel of a job keeps what its chain does: delay, lag as negative lead, volts, unit") {
  const ScratchFolder folder;
  const auto file = job_with(folder,
                             "{channel: 2, sensor: v, volts_full_scale: 500 mV, sensitivity: 10 mV per m/s2, "
                             "delay: 0.3 ms, phase_shift: 12 deg lag}");
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  REQUIRE(file->recording);
  const RecordedVibration& channel = file->recording->vibration.front();
  CHECK(channel.place.number == 2);
  CHECK(channel.delay_s == doctest::Approx(3e-4));
  CHECK(channel.phase_shift_rad == doctest::Approx(radians(-12.0)));
  CHECK(file->recording->lowest_rpm == doctest::Approx(250.0));
  CHECK(file->recording->highest_rpm == 5500.0);
  const auto description = file->recording->description("run.wav");
  REQUIRE(description);
  CHECK(description->channels[1].volts_full_scale == doctest::Approx(0.5));
  CHECK(description->channels[1].unit_per_volt == doctest::Approx(100.0));
}

TEST_CASE("a heading names a column of a CSV recording and nothing in a WAV file") {
  const ScratchFolder folder;
  const auto file = job_with(folder, "{channel: front vib, sensor: v, unit: mm/s}");
  REQUIRE(file);
  CHECK(file->recording->description("run.CSV").has_value());
  const auto wav = file->recording->description("run.wav");
  REQUIRE_FALSE(wav);
  CHECK(wav.error().what.find("front vib") != std::string::npos);
}

TEST_CASE("a WAV channel in volts needs its full scale, a CSV column does not") {
  const ScratchFolder folder;
  const auto file = job_with(folder, "{channel: 2, sensor: v, sensitivity: 10 mV per g}");
  REQUIRE(file);
  CHECK(file->recording->description("run.csv").has_value());
  CHECK_FALSE(file->recording->description("run.wav").has_value());
}

TEST_CASE("a job names tables that are yet to be made; they are read only when asked for") {
  const ScratchFolder folder;
  const std::string channel = "{channel: 2, sensor: v, unit: mm/s}";
  const std::string tables = "readings: [later.csv, more.csv]\n";
  CHECK(job_with(folder, channel, tables, ReadingTables::leave_out).has_value());
  CHECK_FALSE(job_with(folder, channel, tables).has_value());
  const std::string heading = "run,speed,sensor,amplitude,phase,sd,component,note\n";
  folder.write("later.csv", heading + "one,3000 rpm,v,2 mm/s peak,10 deg,0.03 mm/s,once-per-rev,\n");
  folder.write("more.csv", heading +
                               "one,4000 rpm,v,missing,,,once-per-rev,silent\n"
                               "one,4000 rpm,shown,3 units,,,once-per-rev,\n");
  const auto file = job_with(folder, channel, tables);
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  const auto& readings = file->job.runs[0].readings;
  REQUIRE(readings.size() == 2);
  REQUIRE(readings[0].repeatability);
  CHECK(*readings[0].repeatability == doctest::Approx(0.03));
  CHECK_FALSE(readings[1].repeatability.has_value());
  CHECK(file->sources.size() == 4);
}

TEST_CASE("an sd of a reading is an amplitude above zero in the sensor's unit") {
  const ScratchFolder folder;
  const std::string channel = "{channel: 2, sensor: v, unit: mm/s}";
  for (const char* wrong : {"0 mm/s", "-1 mm/s", "0.1", "0.1 mil pp"}) {
    folder.write("t.csv",
                 "run,speed,sensor,amplitude,phase,component,sd\none,3000 rpm,v,2 mm/s "
                 "peak,10 deg,once-per-rev," +
                     std::string(wrong) + "\n");
    const auto file = job_with(folder, channel, "readings: t.csv\n");
    REQUIRE_FALSE_MESSAGE(file, wrong);
    CHECK(file.error().where.key == "sd");
    CHECK(file.error().where.line == 2);
  }
}

TEST_CASE("a recorded acceleration becomes the sensor's velocity by 1/(j omega) at the dwell's speed") {
  const ScratchFolder folder;
  const auto file =
      job_with(folder, "{channel: 2, sensor: v, volts_full_scale: 1 V, sensitivity: 1 V per m/s2}");
  REQUIRE(file);
  Extraction extraction;
  extraction.dwells.resize(1);
  DwellReading& dwell = extraction.dwells.front();
  dwell.phase_trusted = true;
  dwell.speed_rpm = 3000.0;
  dwell.channels.resize(1);
  dwell.channels[0].value = Phasor(0.0, 3.0);  // m/s2
  dwell.channels[0].sd = 0.1;
  extraction.channels.resize(1);
  const std::vector<RecordedSensor> sensors{file->recording->vibration[0].sensor};
  const auto readings = recorded_readings(file->job.rotor, sensors, extraction);
  REQUIRE(readings.size() == 1);
  REQUIRE(readings[0].x);
  const double omega = 100.0 * std::numbers::pi;  // 3000 rpm
  // 3 j m/s2 over j omega is 3/omega m/s, in phase with the cosine; in mm/s a thousand times that.
  CHECK(std::abs(*readings[0].x - Phasor(3000.0 / omega, 0.0)) < 1e-9);
  CHECK(*readings[0].sd == doctest::Approx(100.0 / omega));
  CHECK_FALSE(job_sd(file->job.rotor.sensors[0], readings[0]).has_value());  // the sensor states none

  dwell.phase_trusted = false;
  dwell.refused_blocks = 9;
  dwell.refusal = ReferenceVerdict::no_larger_tooth;
  dwell.channels[0].amplitude = 3.0;
  const auto refused = recorded_readings(file->job.rotor, sensors, extraction);
  CHECK_FALSE(refused[0].x.has_value());
  CHECK(refused[0].amplitude == doctest::Approx(3000.0 / omega));
  REQUIRE(refused[0].notes.size() == 1);
  CHECK(refused[0].notes[0].find("no larger tooth") != std::string::npos);
}

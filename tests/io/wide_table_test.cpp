#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "scratch_folder.hpp"
#include "trimwright/files.hpp"
#include "trimwright/phasor.hpp"

using namespace trimwright;
using trimwright::testing::ScratchFolder;

namespace {

const char* wide_rotor = R"(trimwright: rotor 1
name: wide
rotation: {sense: clockwise, seen_from: aft}
phase: lag
speed_100: 5000 rpm
speed_tolerance: 1 %
reference: {teeth: 1, larger_tooth: 1}
planes:
  - name: fan
sensors:
  - {name: front, measures: velocity, unit: in/s peak, limits: [{up_to: 110 %, limit: 1 in/s}]}
  - {name: Rear, measures: displacement, unit: mil pp, limits: [{up_to: 110 %, limit: 5 mils}]}
)";

const char* wide_job =
    "trimwright: job 1\nrotor: rotor.yaml\nreadings: table.csv\nruns:\n  - {name: one, fitted: none}\n"
    "  - {name: two, fitted: none}\n";

Result<JobFile> job_of(const ScratchFolder& folder, const std::string& table,
                       const std::string& job = wide_job) {
  folder.write("rotor.yaml", wide_rotor);
  folder.write("table.csv", table);
  return read_job(folder.write("job.yaml", job));
}

/// The once-per-rev reading of a run's sensor at a speed, as it was written.
ShownReading read_at(const Job& job, std::size_t run, std::size_t sensor, double rpm) {
  for (const auto& one : job.runs[run].readings)
    if (one.sensor == sensor && one.rpm == rpm && one.component == Component::once_per_rev)
      return shown(job.rotor.sensors[sensor], one.x.value(), job.rotor.phase);
  FAIL("no such reading");
  return {};
}

}  // namespace

TEST_CASE("A wide table has one speed in a row, in any order of columns, several runs in one file") {
  const ScratchFolder folder;
  const auto file =
      job_of(folder,
             "Rear phase,run,front [ips pk],RPM,rear [mils p-p],front [deg lag],wind\n"
             "10,one,0.5,3000,2.5,350,4 kt\n20 degrees,two,0.6,3000,2.6,355,\n,two,missing,4000,,,\n");
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  const Job& job = file->job;
  REQUIRE(job.runs[0].readings.size() == 2);
  REQUIRE(job.runs[1].readings.size() == 2);
  CHECK(read_at(job, 0, 0, 3000.0).amplitude == doctest::Approx(0.5));
  CHECK(read_at(job, 0, 0, 3000.0).phase_deg == doctest::Approx(350.0));
  CHECK(read_at(job, 1, 1, 3000.0).amplitude == doctest::Approx(2.6));
  CHECK(read_at(job, 1, 1, 3000.0).phase_deg == doctest::Approx(20.0));
  REQUIRE(job.runs[1].missing.size() == 1);
  CHECK(job.runs[1].missing[0].rpm == 4000.0);
  REQUIRE(file->notes.size() == 1);
  CHECK(file->notes[0].find("table.csv:1: column \"wind\"") != std::string::npos);
}

TEST_CASE("A wide and a long table of the same readings are one job") {
  const ScratchFolder folder;
  const auto wide = job_of(
      folder, "run,speed,front [in/s peak],front [deg],front overall [in/s peak]\none,60 %,0.5,40,0.7\n");
  const auto long_one =
      job_of(folder,
             "run,speed,sensor,amplitude,phase,component\n"
             "one,60 %,front,0.5 in/s peak,40 deg,once-per-rev\none,60 %,front,0.7 in/s peak,,overall\n");
  REQUIRE_MESSAGE(wide, (wide ? "" : wide.error().message()));
  REQUIRE(long_one);
  const auto& a = wide->job.runs[0].readings;
  const auto& b = long_one->job.runs[0].readings;
  REQUIRE(a.size() == 2);
  REQUIRE(b.size() == 2);
  for (std::size_t i = 0; i < 2; ++i) {
    CHECK(a[i].component == b[i].component);
    CHECK(a[i].amplitude == b[i].amplitude);
    CHECK(a[i].x == b[i].x);
    CHECK(a[i].rpm == b[i].rpm);
  }
}

TEST_CASE("A run may have a table of its own, without a column of runs") {
  const ScratchFolder folder;
  folder.write("second.csv", "speed [%];front (in/s peak);front (°)\n60;0,25;12,5\n");
  const auto file =
      job_of(folder, "run,speed,front [in/s peak],front [deg]\none,60 %,0.5,40\n",
             "trimwright: job 1\nrotor: rotor.yaml\nreadings: table.csv\nruns:\n"
             "  - {name: one, fitted: none}\n  - {name: two, fitted: none, readings: second.csv}\n");
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  CHECK(read_at(file->job, 1, 0, 3000.0).amplitude == doctest::Approx(0.25));
  CHECK(read_at(file->job, 1, 0, 3000.0).phase_deg == doctest::Approx(12.5));
  CHECK(file->sources.size() == 4);
  folder.write("second.csv", "run,speed,front [in/s peak],front [deg]\none,60 %,0.25,12\n");
  const auto other = read_job(folder.path("job.yaml"));
  REQUIRE_FALSE(other);
  CHECK(other.error().what.find("run \"one\"") != std::string::npos);
  CHECK(other.error().where.line == 2);
}

TEST_CASE("Rows that are not filled in yet are no readings, and their speed may be named") {
  const ScratchFolder folder;
  const std::string named = std::string(wide_job) + "speeds: [{at: 60 %}, {at: 80 %, name: cruise}]\n";
  const auto file =
      job_of(folder, "run,speed,front [in/s peak],front [deg]\none,60 %,0.5,40\none,80 %,,\n", named);
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  CHECK(file->job.runs[0].readings.size() == 1);
  CHECK(file->job.runs[0].missing.empty());
  CHECK_FALSE(job_of(folder, "run,speed,front [in/s peak],front [deg]\none,60 %,0.5,40\n", named));
}

TEST_CASE("A table that a spreadsheet saved in Latin-1 with its own first line is read") {
  const ScratchFolder folder;
  const auto file = job_of(
      folder,
      "sep=;\r\nrun;speed [%];Rear [\xb5m p-p];Rear [\xb0];note\r\none;60;63,5;120;b\xf6ig\r\n;;;;\r\n");
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  CHECK(read_at(file->job, 0, 1, 3000.0).amplitude == doctest::Approx(2.5));  // 63.5 µm
  CHECK(file->job.runs[0].readings[0].note == "b\u00f6ig");
}

TEST_CASE("A reading with a phase is once per revolution, one without says what it is") {
  const ScratchFolder folder;
  const std::string heading = "run,speed,sensor,amplitude,phase\n";
  const auto file = job_of(folder, heading + "one,60 %,front,0.5 ips peak,254\n");
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  CHECK(read_at(file->job, 0, 0, 3000.0).phase_deg == doctest::Approx(254.0));
  const auto silent = job_of(folder, heading + "one,60 %,front,0.5 ips peak,\n");
  REQUIRE_FALSE(silent);
  CHECK(silent.error().where.key == "component");
}

TEST_CASE("What a rotor leaves out is as its sensors measure, and asked for where it is needed") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", wide_rotor);
  const auto rotor = read_rotor(folder.path("rotor.yaml"));
  REQUIRE(rotor);
  CHECK(rotor->sensors[0].phase_of == MotionQuantity::velocity);
  CHECK(rotor->sensors[1].phase_of == MotionQuantity::displacement);
  CHECK_FALSE(rotor->reference.polarity_stated);
}

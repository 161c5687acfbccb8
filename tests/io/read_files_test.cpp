#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <numbers>

#include "io/small_rotor.hpp"
#include "project_folder.hpp"
#include "scratch_folder.hpp"
#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/phasor.hpp"

using namespace trimwright;
using trimwright::testing::ScratchFolder;
using trimwright::testing::small_rotor;
namespace fs = std::filesystem;

namespace {

const std::string root = trimwright::testing::in_project("");

std::string job_with(const std::string& runs) {
  return "trimwright: job 1\nrotor: rotor.yaml\nruns:\n" + runs;
}

}  // namespace

TEST_CASE("The last limit of a sensor holds at any speed where it names none, and only the last may") {
  const auto with = [](const std::string& limits) {
    std::string text = small_rotor;
    const std::string was = "[{up_to: 6000 rpm, limit: 10 mm/s}]";
    return parse_rotor("rotor.yaml", text.replace(text.find(was), was.size(), limits));
  };
  const auto one = with("[{limit: 10 mm/s}]");
  REQUIRE(one);
  REQUIRE(one->sensors[0].band_at(1e6) != nullptr);
  CHECK(one->sensors[0].band_at(1e6)->limit == 10.0);
  const auto two = with("[{up_to: 3000 rpm, limit: 8 mm/s}, {limit: 10 mm/s}]");
  REQUIRE(two);
  CHECK(two->sensors[0].band_at(3000.0)->limit == 8.0);
  CHECK(two->sensors[0].band_at(3001.0)->limit == 10.0);
  const auto wrong = with("[{limit: 8 mm/s}, {up_to: 3000 rpm, limit: 10 mm/s}]");
  REQUIRE(!wrong);
  CHECK(wrong.error().where.key == "sensors[0].limits[1]");
  CHECK(wrong.error().expected == "up_to in every band but the last");
}

TEST_CASE("A sensor may leave its limits out only where they are listed as its own or as every sensor's") {
  const auto with = [](const std::string& list) {
    std::string text = small_rotor;
    const std::string was = ", limits: [{up_to: 6000 rpm, limit: 10 mm/s}]", before = "rotation:";
    text.erase(text.find(was), was.size());
    return parse_rotor("rotor.yaml", text.insert(text.find(before), "to_confirm: [" + list + "]\n"));
  };
  for (const char* list : {"limits", "limits of v", "teeth, limits of v"}) {
    const auto open = with(list);
    REQUIRE_MESSAGE(open, list);
    CHECK(limits_open(*open, open->sensors[0]));
  }
  for (const char* list : {"limits of shown", "teeth"}) {
    const auto refused = with(list);
    REQUIRE_MESSAGE(!refused, list);
    CHECK(refused.error().where.key == "sensors[0]");
    CHECK(refused.error().what == "key \"limits\" is missing");
  }
}

TEST_CASE("A target of zero, which no trim reaches, is refused") {
  std::string text = small_rotor;
  const std::string was = "limit: 10 mm/s";
  const auto rotor =
      parse_rotor("rotor.yaml", text.replace(text.find(was), was.size(), was + ", target: 0 mm/s"));
  REQUIRE(!rotor);
  CHECK(rotor.error().where.key == "sensors[0].limits[0].target");
}

TEST_CASE("The shipped example is read as it was written") {
  const auto file = read_job(root + "/examples/quillhaven/job.yaml");
  REQUIRE(file);
  const Job& job = file->job;
  CHECK(job.runs.size() == 5);
  CHECK(job.runs[1].set_aside.has_value());
  CHECK(job.speeds_rpm.size() == 5);
  CHECK(job.fitted_now[0].slots.at(4).weight_id == "K3");
  const Plane& spinner = job.rotor.planes[0];
  // Rotation clockwise from aft is counterclockwise from the front; slots run clockwise from the front:
  // against.
  CHECK(spinner.slots->numbered_relative == Direction::against_rotation);
  CHECK(spinner.slots->angle(4).degrees() == doctest::Approx(4.0 - 3 * 9.0 + 360.0));
  CHECK(spinner.weights[2].moment_g_mm == doctest::Approx(4.4 * 188.5));
  CHECK(spinner.weights[4].written == "7.4 g at 189 mm");
  CHECK(job.rotor.planes[1].slots->numbered_relative == Direction::against_rotation);
  CHECK(job.rotor.sensors[1].bands[0].limit == 2.5);  // 5 mil peak to peak
  CHECK(fit_influence(job).has_value());
}

TEST_CASE("A reading in another quantity is converted in amplitude and phase, at its own speed") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", small_rotor);
  const auto path = folder.write(
      "job.yaml",
      job_with("  - name: one\n    fitted: none\n    readings:\n"
               "      - {speed: 60 %, sensor: v, amplitude: 1 mil pp, phase: 40 deg, component: once-per-rev,"
               " phase_of: displacement}\n"
               "      - {speed: 3000 rpm, sensor: shown, amplitude: 2.5 units, phase: 40 deg lag, component: "
               "once-per-rev}\n"));
  const auto file = read_job(path);
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  const auto& readings = file->job.runs[0].readings;
  // 3000 rpm: velocity peak = 2 pi 50 * 0.0127 mm, leading displacement by 90 degrees.
  CHECK(std::abs(*readings[0].x) == doctest::Approx(2 * std::numbers::pi * 50 * 0.0127));
  CHECK(wrap_360(degrees(std::arg(*readings[0].x))) == doctest::Approx(wrap_360(-40.0 + 90.0)));
  CHECK(std::abs(*readings[1].x) == doctest::Approx(2.5));
  CHECK(file->job.speeds_rpm.size() == 1);
}

TEST_CASE("A reading in another quantity that does not say what its phase belongs to is refused") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", small_rotor);
  const auto read = [&](const std::string& rest) {
    return read_job(folder.write(
        "job.yaml",
        job_with("  - name: one\n    fitted: none\n    readings:\n      - {speed: 3000 rpm, sensor: v, "
                 "component: once-per-rev, " +
                 rest + "}\n")));
  };
  const auto refused = read("amplitude: 1 mil pp, phase: 40 deg");
  REQUIRE_FALSE(refused);
  CHECK(refused.error().where.key == "runs[0].readings[0].phase_of");
  CHECK(refused.error().expected.find("phase_of: displacement") != std::string::npos);
  CHECK(read("amplitude: 1 mil pp, phase: 40 deg, phase_of: velocity"));
  CHECK(read("amplitude: 1 mil pp"));                   // no phase, nothing to settle
  CHECK(read("amplitude: 1 in/s rms, phase: 40 deg"));  // another unit of the sensor's own quantity
}

TEST_CASE("In a table of semicolons a comma before three digits is refused where it may be of thousands") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", small_rotor);
  const auto path =
      folder.write("job.yaml", job_with("  - {name: one, fitted: none}\nreadings: readings.csv\n"));
  const std::string heading = "run;speed;sensor;amplitude;phase;component\n";
  folder.write("readings.csv", heading + "one;4,800 rpm;v;0,197 mm/s peak;40 deg;once-per-rev\n");
  const auto refused = read_job(path);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().where.line == 2);
  CHECK(refused.error().where.key == "speed");
  folder.write("readings.csv", heading + "one;4,800 rpm;v;0,197 mm/s peak;40 deg;once-per-rev\n" +
                                   "one;3000.5 rpm;v;1,250 mm/s peak;40 deg;once-per-rev\n");
  const auto settled = read_job(path);
  REQUIRE_MESSAGE(settled, (settled ? "" : settled.error().message()));
  CHECK(settled->job.runs[0].readings[0].rpm == 4800.0);
  CHECK(std::abs(*settled->job.runs[0].readings[1].x) == doctest::Approx(1.25));
}

TEST_CASE("A spreadsheet's semicolons and decimal commas are understood, missing readings left out") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", small_rotor);
  folder.write(
      "readings.csv",
      "\xef\xbb\xbfsep=;\r\nrun;speed [%];sensor;amplitude [mm/s peak];phase [deg];component;note\r\n"
      "one;60,0;v;3,25;120;once-per-rev;\"two\nlines; and \"\"quotes\"\"\"\r\n"
      "\r\n"
      "one;80;v;missing;;once-per-rev;cable\r\n"
      "one;90;v;4,5;;once-per-rev;\r\n");
  const auto path =
      folder.write("job.yaml", job_with("  - {name: one, fitted: none}\nreadings: readings.csv\n"));
  const auto file = read_job(path);
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  const auto& readings = file->job.runs[0].readings;
  REQUIRE(readings.size() == 2);
  CHECK(std::abs(*readings[0].x) == doctest::Approx(3.25));
  CHECK(readings[0].where.line == 3);
  CHECK_FALSE(readings[1].x.has_value());
  CHECK(readings[1].amplitude == 4.5);
  CHECK(readings[1].where.line == 7);
  const auto& missing = file->job.runs[0].missing;
  REQUIRE(missing.size() == 1);
  CHECK(missing[0].rpm == doctest::Approx(4000.0));
  CHECK(missing[0].note == "cable");
}

TEST_CASE(
    "Fitted weights can be named as an earlier run's, and what is on the rotor now can differ from the last "
    "run") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", small_rotor);
  const auto path = folder.write(
      "job.yaml",
      job_with("  - {name: one, fitted: {fan: [{at: 90 deg clockwise from front, moment: 500 g.mm}]}}\n"
               "  - {name: two, fitted: same as one}\nfitted_now: none\n"));
  const auto file = read_job(path);
  REQUIRE_MESSAGE(file, (file ? "" : file.error().message()));
  const auto& two = file->job.runs[1].fitted[0].free;
  REQUIRE(two.size() == 1);
  CHECK(two[0].at.degrees() == doctest::Approx(270.0));  // clockwise from the front is against this rotation
  CHECK(file->job.fitted_now[0].free.empty());
}

TEST_CASE("Stacks and rules of a plane are read, and the stacks made") {
  std::string text = small_rotor;
  text.replace(text.find("  - name: fan\n"), 14, R"(  - name: fan
    slots: {count: 6, slot_1_at: 0 deg, numbered: clockwise, seen_from: aft, unusable: [6]}
    weights:
      - {id: A, mass: 2 g, radius: 100 mm, stock: 5, only_in: [1, 2, 3]}
      - {id: B, mass: 3 g, radius: 100 mm, only_in: [5, 3]}
    stack: 3
    rules: {max_pieces: 4, max_mass: 20 g, max_slot_mass: 8 g, max_slot_moment: 700 g.mm, apart: neighbours,
            together: opposite, alike: [[5, 2], [2, 5]]}
)");
  const auto rotor = parse_rotor("small.yaml", text);
  REQUIRE_MESSAGE(rotor, (rotor ? "" : rotor.error().what));
  const Plane& plane = rotor->planes[0];
  REQUIRE(plane.weights.size() == 9);  // A, B; AA, AB, BB; AAA, AAB, ABB, BBB
  const Weight* stack = plane.find_weight("B+A+B");
  REQUIRE(stack != nullptr);
  CHECK(stack->id == "A+B+B");
  CHECK(stack->pieces() == 3);
  CHECK(stack->moment_g_mm == doctest::Approx(800.0));
  CHECK(*stack->mass_g == doctest::Approx(8.0));
  CHECK(*stack->only_in == std::vector<int>{3});
  CHECK(Plane::count_of(*stack, "B") == 2);
  CHECK(plane.find_weight("B+A+C") == nullptr);
  CHECK(plane.rules.max_pieces == 4);
  CHECK(*plane.rules.max_slot_moment_g_mm == doctest::Approx(700.0));
  CHECK(plane.rules.apart.size() == 6);
  CHECK(plane.rules.apart.back() == std::pair(5, 6));
  CHECK(plane.rules.together == PlaneRules::Pairs{{1, 4}, {2, 5}, {3, 6}});
  CHECK(plane.rules.alike == PlaneRules::Pairs{{2, 5}});
}

TEST_CASE("An error in a job names file, line and key") {
  const ScratchFolder folder;
  folder.write("rotor.yaml", small_rotor);
  const auto path =
      folder.write("job.yaml", job_with("  - name: one\n    fitted: none\n    weather: fine\n"));
  const auto file = read_job(path);
  REQUIRE_FALSE(file);
  CHECK(file.error().where.line == 6);
  CHECK(file.error().where.key == "runs[0].weather");
  CHECK(file.error().message().find("not known here") != std::string::npos);
}

#include <doctest/doctest.h>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// One run of a rotor with 5000 rpm as 100 %, that reads its first sensor at these speeds.
Job read_at(const std::vector<double>& speeds, std::vector<LimitBand> bands = {{6000.0, 1.0, 0.2}}) {
  Job job;
  job.rotor = free_rotor({"fan"}, {"A", "B"});
  job.rotor.speed_100_rpm = 5000.0;
  job.rotor.speed_tolerance_rpm = 25.0;
  job.rotor.sensors[0].bands = std::move(bands);
  job.runs.push_back({"as found", {}, {{}}, {}, {}, {}});
  for (const double rpm : speeds)
    job.runs[0].readings.push_back(reading_of(job.rotor, 0, {0.5, 10.0}, 0, rpm));
  return job;
}

}  // namespace

TEST_CASE(
    "A reading inside its sensor's bands has a limit though its speed point, named by another, lies above") {
  Job job = read_at({4914.0}, {{4915.0, 0.7, 0.1}});
  job.rotor.speed_100_rpm.reset();
  job.runs[0].readings.insert(job.runs[0].readings.begin(), reading_of(job.rotor, 1, {0.5, 10.0}, 0, 4916.0));
  REQUIRE(settle_places(job));
  REQUIRE(job.speeds_rpm == std::vector<double>{4916.0});
  CHECK(place_of(job, 0, 0).limit == 0.7);
  CHECK(place_of(job, 0, 0).target == 0.1);
  CHECK(place_of(job, 0, 1).limit == 1.0);
}

TEST_CASE("A reading that no band of its sensor covers is refused in words, with what would mend it") {
  Job job = read_at({4930.0}, {{4915.0, 0.7, 0.1}});
  job.runs[0].readings[0].where = {"readings.csv", 7, {}};
  const auto settled = settle_places(job);
  REQUIRE_FALSE(settled);
  CHECK(settled.error().message().find("readings.csv:7: speed: sensor \"A\" has no limit at 4930 rpm") == 0);
}

TEST_CASE(
    "A speed point stands at the whole percent that all its readings agree with, whatever was read first") {
  Job job = read_at({2996.0, 3004.0, 2999.0, 3600.0});
  REQUIRE(settle_places(job));
  CHECK(job.speeds_rpm == std::vector<double>{3000.0, 3600.0});
  CHECK(speed_words(job, 0) == "3000 rpm (60 %)");
  CHECK(job.runs[0].readings[3].speed == 1);
}

TEST_CASE("A set point may lie above all its readings") {
  Job job = read_at({2995.0, 2998.0});
  REQUIRE(settle_places(job));
  CHECK(job.speeds_rpm == std::vector<double>{3000.0});
}

TEST_CASE("A speed that is no round one stays as it was first read") {
  Job job = read_at({3020.0, 3023.0});
  REQUIRE(settle_places(job));
  CHECK(job.speeds_rpm == std::vector<double>{3020.0});
  CHECK(speed_words(job, 0) == "3020 rpm (60.4 %)");
}

TEST_CASE("A speed set by the job file is the point, with its name, whatever its readings were") {
  Job job = read_at({3008.0, 3021.0, 4000.0});
  REQUIRE(settle_places(job, {{3010.0, "cruise", {}}}));
  CHECK(job.speeds_rpm == std::vector<double>{3010.0, 4000.0});
  CHECK(place_words(job, 0, 0) == "A at cruise, 3010 rpm (60.2 %)");
  CHECK(place_words(job, 1, 0) == "A at 4000 rpm (80 %)");
}

TEST_CASE(
    "The next run reads every place that some run reads or was to read, but not those of a run set aside") {
  Job job = read_at({3000.0, 4000.0});
  Run aside = job.runs[0];
  aside.set_aside = "wind";
  aside.readings = {reading_of(job.rotor, 1, {0.5, 10.0}, 0, 3000.0)};
  job.runs.push_back(aside);
  job.runs[0].missing.push_back({4010.0, 1, "cable"});
  REQUIRE(settle_places(job));
  std::vector<std::pair<std::size_t, std::size_t>> places;
  for (const auto& place : places_to_run(job)) places.emplace_back(place.speed, place.sensor);
  CHECK(places == std::vector<std::pair<std::size_t, std::size_t>>{{0, 0}, {1, 0}, {1, 1}});
}

TEST_CASE("A job whose places nobody settled says so instead of reading at random") {
  CHECK_THROWS_AS((void)place_of(read_at({3000.0}), 0, 0), std::logic_error);
}

TEST_CASE(
    "A speed as far off as the tolerance allows is the point's, whether its reading was obtained or not") {
  // 51 % of 4915 rpm is 1 % of it above 50 %, but for what rounding makes of the difference.
  const double point = 2457.5, read = 2506.65;
  Job job = read_at({point, read});
  job.rotor.speed_100_rpm = 4915.0;
  job.rotor.speed_tolerance_rpm = 49.15;
  REQUIRE(read - point > job.rotor.speed_tolerance_rpm);
  job.runs[0].missing.push_back({read, 1, {}});
  REQUIRE(settle_places(job, {{point, "", {}}}));
  CHECK(job.speeds_rpm == std::vector<double>{point});
  const auto to_run = places_to_run(job);
  REQUIRE(to_run.size() == 2);
  CHECK(to_run[1].sensor == 1);
}

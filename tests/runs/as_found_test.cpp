#include <doctest/doctest.h>

#include "job_builder.hpp"
#include "runs/as_found.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

/// Two visits on a rotor of one plane and two sensors: as found, trial, trimmed; relubricated, trimmed again.
Job two_visits() {
  const Rotor rotor = free_rotor({"spinner"}, {"A", "B"});
  const auto piece = [](double moment) { return std::vector<FreePiece>{{moment, RotorAngle{}}}; };
  std::vector<Run> runs{run_of(rotor, "as found", {{}}, {{0.9, 10.0}, {0.8, 20.0}}),
                        run_of(rotor, "trial", {piece(100.0)}, {{0.7, 10.0}, {0.6, 20.0}}),
                        run_of(rotor, "trimmed", {piece(300.0)}, {{0.2, 10.0}, {0.1, 20.0}}),
                        run_of(rotor, "relubricated", {piece(300.0)}, {{0.5, 30.0}, {0.4, 40.0}}),
                        run_of(rotor, "trimmed again", {piece(350.0)}, {{0.1, 30.0}, {0.1, 40.0}})};
  runs[3].before = {{Event::Kind::baseline_new}};
  return job_of(rotor, runs);
}

double amplitude_as_found(const Job& job, std::size_t run, std::size_t sensor) {
  const auto read = read_as_found(job, run, 0, sensor, Component::once_per_rev);
  return read ? job.rotor.sensors[sensor].unit.shown_from_peak(read->amplitude) : -1.0;
}

}  // namespace

TEST_CASE("As found is of the visit that the check run belongs to") {
  Job job = two_visits();
  CHECK(run_as_found(job, 2) == 0);
  CHECK(amplitude_as_found(job, 2, 0) == doctest::Approx(0.9));
  CHECK(run_as_found(job, 4) == 3);
  CHECK(amplitude_as_found(job, 4, 0) == doctest::Approx(0.5));
  CHECK(fitted_as_found(job, 4)[0].free.front().moment_g_mm == 300.0);
  CHECK(run_as_found(job, 5) == 3);  // of the run to come
  job.runs[3].before.clear();
  CHECK(run_as_found(job, 4) == 0);
  job.runs[4].before = {{Event::Kind::baseline_new}};  // with the weights themselves: no visit of its own
  CHECK(run_as_found(job, 4) == 0);
}

TEST_CASE("A run that is set aside is not as found; where nothing else is, it tells what was fitted") {
  Job job = two_visits();
  job.runs[0].set_aside = "gusts";
  CHECK(run_as_found(job, 2) == 1);
  job.runs[3].set_aside = "gusts";
  CHECK(run_as_found(job, 4) == 3);
  CHECK(amplitude_as_found(job, 4, 0) == -1.0);
}

TEST_CASE("A place that the first run did not read is as found by a run of the same weights, by no other") {
  Job job = two_visits();
  job.runs[0].readings.pop_back();
  CHECK(amplitude_as_found(job, 2, 1) == -1.0);
  Run again = run_of(job.rotor, "again", {{}}, {{0.91, 10.0}, {0.79, 20.0}});
  job.runs.insert(job.runs.begin() + 2, again);
  CHECK(amplitude_as_found(job, 3, 1) == doctest::Approx(0.79));
  CHECK(amplitude_as_found(job, 3, 0) == doctest::Approx(0.9));
}

TEST_CASE("Several readings of one place as found are told by their mean") {
  Job job = two_visits();
  job.runs[0].readings.push_back(reading_of(job.rotor, 0, {1.1, 10.0}));
  CHECK(amplitude_as_found(job, 2, 0) == doctest::Approx(1.0));
}

// The two-plane example of S. S. Rao, Mechanical Vibrations, chapter on balancing of rotating machines
// (readings from memory), with the weights in 36 slots and a check run that the example's own influence
// coefficients foretell; one slip planted in it, each kind in turn.
#include <doctest/doctest.h>

#include <algorithm>
#include <functional>

#include "job_builder.hpp"
#include "trimwright/check.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const Phasor as_found[] = {std::polar(8.5, radians(60.0)), std::polar(6.5, radians(205.0))};
const Phasor with_left[] = {std::polar(6.0, radians(125.0)), std::polar(4.5, radians(230.0))};
const Phasor with_right[] = {std::polar(6.0, radians(35.0)), std::polar(10.5, radians(160.0))};

/// Slot k lies at 10 (k - 1) degrees.
Rotor slotted_rotor() {
  Rotor rotor = free_rotor({}, {"A", "B"}, PhaseConvention::lead);
  for (const char* name : {"left", "right"})
    rotor.planes.push_back(slotted_plane(name, 36, {2.0, 4.0, 6.0, 8.0, 10.0, 12.0}));
  for (auto& sensor : rotor.sensors) {
    sensor.repeatability = 0.02;
    sensor.bands = {{10000.0, 20.0, {}}};
  }
  return rotor;
}

using Pieces = std::vector<std::pair<int, const char*>>;
struct Setting {
  Pieces left, right;
};

std::vector<FittedWeights> fitted(const Rotor& rotor, const Setting& setting) {
  std::vector<FittedWeights> all(2);
  for (std::size_t p = 0; p < 2; ++p)
    for (const auto& [slot, id] : p == 0 ? setting.left : setting.right)
      all[p].slots[slot] = {id, rotor.planes[p].find_weight(id)->moment_g_mm};
  return all;
}

/// What is listed: trials of 10 at 270 and 12 at 180 degrees, the correction of 10.06 at 325.6 and 5.88
/// at 68.3.
const Setting listed[] = {{{}, {}}, {{{28, "w5"}}, {}}, {{}, {{19, "w6"}}}, {{{34, "w5"}}, {{8, "w3"}}}};

/// The four runs, with `really` fitted in run `slipped` (the lists stay).
Job job_with(std::size_t slipped, const Setting& really) {
  const Rotor rotor = slotted_rotor();
  const auto left = total_moment(rotor.planes[0], fitted(rotor, listed[1])[0]);
  const auto right = total_moment(rotor.planes[1], fitted(rotor, listed[2])[1]);
  KnownRotor known;
  for (int s = 0; s < 2; ++s) {
    known.x0.push_back(as_found[s]);
    known.c.push_back({(with_left[s] - as_found[s]) / left, (with_right[s] - as_found[s]) / right});
  }
  std::vector<Run> runs;
  const char* names[] = {"as found", "left", "right", "check"};
  for (std::size_t r = 0; r < 4; ++r) {
    runs.push_back(known.run(rotor, names[r], fitted(rotor, r == slipped ? really : listed[r])));
    runs.back().fitted = fitted(rotor, listed[r]);
  }
  Job job = job_of(rotor, runs);
  job.fitted_now = job.runs.back().fitted;
  return job;
}

/// Whether the verdict names the kind, of that run, among those that the readings do not tell apart.
void check_named(const Job& job, MistakeKind kind, std::optional<std::size_t> run) {
  const auto judged = judge_job(job, {});
  REQUIRE(judged);
  const auto& ranking = judged->verdict.mistakes;
  INFO(mistake_name(kind));
  CHECK_FALSE(ranking.as_predicted());
  const auto end = ranking.kinds.begin() + static_cast<std::ptrdiff_t>(ranking.not_told_apart);
  CHECK(std::any_of(ranking.kinds.begin(), end,
                    [&](const auto& one) { return one.kind == kind && one.run == run; }));
}

void check_fitted(MistakeKind kind, std::size_t run, const Setting& really) {
  check_named(job_with(run, really), kind, run);
}

void check_read(MistakeKind kind, const std::function<void(Run&)>& misread) {
  Job job = job_with(3, listed[3]);
  misread(job.runs[3]);
  for (auto& one : job.runs[3].readings) one.amplitude = std::abs(*one.x);
  check_named(job, kind, 3);
}

}  // namespace

TEST_CASE("Rao's two-plane example without a slip is as predicted") {
  const auto judged = judge_job(job_with(3, listed[3]), {});
  REQUIRE(judged);
  CHECK(judged->verdict.mistakes.as_predicted());
}

TEST_CASE("Each slip of fitting planted in Rao's two-plane example is among those named") {
  using enum MistakeKind;
  check_fitted(mirrored, 3, {{{4, "w5"}}, {{8, "w3"}}});
  check_fitted(mirrored, 3, {{{34, "w5"}}, {{30, "w3"}}});
  check_fitted(shifted, 3, {{{35, "w5"}}, {{8, "w3"}}});
  check_fitted(shifted, 3, {{{33, "w5"}}, {{7, "w3"}}});
  check_fitted(opposite, 3, {{{16, "w5"}}, {{8, "w3"}}});
  check_fitted(missing, 3, {{}, {{8, "w3"}}});
  check_fitted(wrong_size, 3, {{{34, "w3"}}, {{8, "w3"}}});
  check_fitted(left_in, 3, {{{34, "w5"}}, {{8, "w3"}, {19, "w6"}}});
  check_fitted(wrong_plane, 3, {{}, {{8, "w3"}, {34, "w5"}}});
}

TEST_CASE("Each slip of fitting planted in a trial run of Rao's example is among those named") {
  using enum MistakeKind;
  check_fitted(mirrored, 1, {{{10, "w5"}}, {}});
  check_fitted(shifted, 1, {{{29, "w5"}}, {}});
  check_fitted(opposite, 1, {{{10, "w5"}}, {}});
  check_fitted(wrong_size, 1, {{{28, "w3"}}, {}});
  check_fitted(left_in, 2, {{{28, "w5"}}, {{19, "w6"}}});
  check_fitted(wrong_plane, 2, {{{19, "w6"}}, {}});
}

TEST_CASE("Each slip of reading planted in Rao's two-plane example is among those named") {
  using enum MistakeKind;
  check_read(polarity, [](Run& run) { *run.readings[0].x *= -1.0; });
  check_read(sensors_exchanged, [](Run& run) { std::swap(run.readings[0].x, run.readings[1].x); });
  check_read(unit, [](Run& run) {
    for (auto& one : run.readings) *one.x *= 25.4;
  });
  check_read(mistyped, [](Run& run) { *run.readings[1].x *= 10.0; });
  check_read(phase_sense, [](Run& run) {
    for (auto& one : run.readings) one.x = std::conj(*one.x);
  });
  Job job = job_with(3, listed[3]);
  std::swap(job.runs[0].readings, job.runs[2].readings);
  check_named(job, runs_exchanged, 0);
}

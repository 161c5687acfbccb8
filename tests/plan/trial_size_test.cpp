#include <doctest/doctest.h>

#include <algorithm>

#include "job_builder.hpp"
#include "plan/known_effect.hpp"
#include "some.hpp"
#include "trimwright/plan.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const std::vector<double> sizes{100.0, 200.0, 300.0, 400.0, 600.0};

bool any_has(const std::vector<std::string>& lines, const std::string& words) {
  return std::any_of(lines.begin(), lines.end(),
                     [&](const auto& line) { return line.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("A trial weight of known effect changes no reading by more than 70 % of what is left") {
  // 0.5 + 1e-3 U, limit 1: 0.5 are left, 70 % of them are 350 g mm; the correction would be 500 at 180
  // degrees.
  Job job = slotted_job_with_trial(sizes);
  const auto model = fit_influence(job);
  REQUIRE(model);
  const auto trim = plan_trim(job, *model, {});
  REQUIRE(trim);
  const auto advice = advise_trial(job, {&*model, &*trim}, {});
  REQUIRE(advice);
  CHECK(advice->advised().change.fit->weight_id == "w3");
  CHECK(advice->advised().headroom_share.value() == doctest::Approx(0.6));
  const auto own = advise_trial(job, {&*model, &*trim}, {0, 5, "w5"});  // named by a person: taken, and said
  REQUIRE(own);
  CHECK(own->advised().headroom_share.value() == doctest::Approx(1.2));
  CHECK(any_has(own->notes, "more than 70 % of what is left"));
  for (auto& sensor : job.rotor.sensors) sensor.bands = {{10000.0, 1.2, {}}};
  job = settled(job);
  const auto roomy = advise_trial(job, {&*model, &*trim}, {});
  REQUIRE(roomy);
  CHECK(roomy->advised().change.fit->weight_id == "w4");  // 490 g mm
}

TEST_CASE("Where the slot of a first trial lies tells an earlier job of the serial, or else of the type") {
  Job job = slotted_job(sizes);
  job.serial = "7";
  job.runs[0].readings[0].x = Phasor(0.0, 0.5);  // the heavy spot at 90 degrees
  Job earlier = slotted_job_with_trial(sizes), other = earlier;
  earlier.serial = "7";
  other.serial = "8";
  for (auto& run : other.runs)
    for (auto& one : run.readings) *one.x *= Phasor(0.0, 1.0);
  CHECK_FALSE(earlier_effects(job, {{job, "itself"}}));
  const auto effects = earlier_effects(job, {{earlier, "first"}, {other, "second"}});
  REQUIRE(effects);
  CHECK(effects->from == "first");
  const auto advice = advise_trial(job, {nullptr, nullptr, {}, {}, &*effects}, {});
  REQUIRE(advice);
  const auto& change = advice->advised().change;
  CHECK(job.rotor.planes[0].slots->angle(change.slot).degrees() == doctest::Approx(270.0));
  CHECK(change.fit->weight_id == "w3");
  CHECK(any_has(advice->notes, "first"));
  const auto of_type = earlier_effects(job, {{other, "second"}});
  REQUIRE(of_type);
  CHECK(of_type->from == "second");
}

TEST_CASE(
    "What is left below a limit is left above what the place reads now, not above a trial that is out") {
  const Job job = slotted_job_with_trial(sizes);  // 0.5 as found, 0.6 with the trial weight
  const auto earlier = earlier_effects(job, {{job, "an earlier job"}});
  REQUIRE(earlier);
  const auto effects = effects_by_earlier(job, *earlier, 0);
  REQUIRE(effects.size() == 1);
  CHECK(std::abs(effects[0].now) == doctest::Approx(0.5));
  CHECK(std::abs(effects[0].now) == doctest::Approx(*readings_to_take(job, {})[0].last_read));
}

TEST_CASE("A plane whose run is listed and not yet made is as untried as the others") {
  Job job = slotted_job(sizes);
  job.rotor.planes.push_back(slotted_plane("drum", 8, sizes));
  job.runs[0].fitted.resize(2);
  job.fitted_now.resize(2);
  job.runs.push_back(job.runs[0]);
  job.runs[1].name = "next";
  job.runs[1].readings.clear();
  job.runs[1].fitted[0].slots[1] = {"w1", 100.0};
  const auto advice = advise_trial(job, {}, {});
  REQUIRE(advice);
  CHECK(advice->advised().change.plane == 0);
}

TEST_CASE("No trial is run where a level is above its limit with what is fitted now") {
  Job job = slotted_job(sizes);
  Reading fast = job.runs[0].readings[0];
  fast.rpm = 4000.0;
  fast.x = Phasor(1.3, 0.0);
  fast.amplitude = 1.3;
  job.runs[0].readings.push_back(fast);
  job = settled(job);
  auto advice = advise_trial(job, {}, {});
  REQUIRE(advice);
  CHECK(advice->can_be_completed);
  const auto steps = trial_steps(job, advice->advised().change);
  for (const auto& one : some(steps.expected)) CHECK(one.speed == 0);
  CHECK(any_has(steps.warnings, "At 4000 rpm"));
  job.runs[0].readings[0].x = Phasor(1.1, 0.0);
  job.runs[0].readings[0].amplitude = 1.1;
  advice = advise_trial(job, {}, {});
  REQUIRE(advice);
  CHECK_FALSE(advice->can_be_completed);
  CHECK_FALSE(advice->worth_making);
  const auto planned = plan_trial(job, {}, nullptr, {0, 3, "w1"});
  REQUIRE(planned);
  CHECK(planned->steps.changes.empty());
  CHECK(planned->steps.steps[0].instruction.find("Inspect first") != std::string::npos);
}

#include "trimwright/influence.hpp"

#include <doctest/doctest.h>

#include "job_builder.hpp"

using namespace trimwright;
using namespace trimwright::testing;

namespace {

const KnownRotor known{
    {Phasor(0.6, 0.2), Phasor(-0.3, 0.5)},
    {{Phasor(1e-3, 2e-4), Phasor(-4e-4, 3e-4)}, {Phasor(2e-4, -3e-4), Phasor(9e-4, 1e-4)}}};

Rotor two_plane_rotor() { return free_rotor({"front plane", "rear plane"}, {"A", "B"}); }

void check_is_known(const InfluenceModel& model) {
  REQUIRE(model.rows.size() == 2);
  for (std::size_t s = 0; s < 2; ++s) {
    CHECK(std::abs(model.rows[s].baseline - known.x0[s]) < 1e-9);
    for (std::size_t p = 0; p < 2; ++p)
      CHECK(std::abs(model.rows[s].coefficients(static_cast<Eigen::Index>(p)) - known.c[s][p]) < 1e-12);
  }
}

bool says(const Error& error, const std::string& words) {
  return error.message().find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("A baseline and one trial run a plane give the coefficients") {
  const Rotor rotor = two_plane_rotor();
  const auto model = fit_influence(job_of(
      rotor, {known.run(rotor, "baseline", {{}, {}}), known.run(rotor, "front", {free_at(300, 40), {}}),
              known.run(rotor, "rear", {{}, free_at(500, 250)})}));
  REQUIRE(model);
  check_is_known(*model);
  CHECK(model->runs.rank == 3);
}

TEST_CASE("A trial weight left in place is not counted twice") {
  const Rotor rotor = two_plane_rotor();
  const auto model = fit_influence(job_of(
      rotor, {known.run(rotor, "baseline", {{}, {}}), known.run(rotor, "front", {free_at(300, 40), {}}),
              known.run(rotor, "both", {free_at(300, 40), free_at(500, 250)})}));
  REQUIRE(model);
  check_is_known(*model);
}

TEST_CASE("A run with nothing changed is a repeat, not an error") {
  const Rotor rotor = two_plane_rotor();
  Run repeat = known.run(rotor, "repeat", {{}, {}});
  repeat.readings[0].x = *repeat.readings[0].x + 0.02;
  const auto model = fit_influence(job_of(rotor, {known.run(rotor, "baseline", {{}, {}}), repeat,
                                                  known.run(rotor, "front", {free_at(300, 40), {}}),
                                                  known.run(rotor, "rear", {{}, free_at(500, 250)})}));
  REQUIRE(model);
  CHECK(model->rows[0].spare == 1);
  CHECK(std::abs(model->rows[0].baseline - (known.x0[0] + 0.01)) < 1e-9);  // the mean of the two
}

TEST_CASE("Weights present as found are part of the unbalance of every run") {
  const Rotor rotor = two_plane_rotor();
  const auto found = free_at(800, 10);
  FittedWeights with_trial = found;
  with_trial.free.push_back({300.0, RotorAngle::from_degrees(40.0)});
  const auto model = fit_influence(
      job_of(rotor, {known.run(rotor, "as found", {found, {}}), known.run(rotor, "front", {with_trial, {}}),
                     known.run(rotor, "rear", {found, free_at(500, 250)})}));
  REQUIRE(model);
  check_is_known(*model);
}

TEST_CASE("Runs that cannot separate the planes are refused, and the missing run is named") {
  const Rotor rotor = two_plane_rotor();
  const Run baseline = known.run(rotor, "baseline", {{}, {}});

  const auto none = fit_influence(job_of(rotor, {baseline, known.run(rotor, "repeat", {{}, {}})}));
  REQUIRE_FALSE(none);
  CHECK(says(none.error(), "no run changed a weight"));

  const auto one_only =
      fit_influence(job_of(rotor, {baseline, known.run(rotor, "front", {free_at(300, 40), {}})}), {0, 1});
  REQUIRE_FALSE(one_only);
  CHECK(says(one_only.error(), "\"rear plane\""));

  const auto together =
      fit_influence(job_of(rotor, {baseline, known.run(rotor, "both", {free_at(300, 40), free_at(500, 250)}),
                                   known.run(rotor, "twice", {free_at(600, 40), free_at(1000, 250)})}));
  REQUIRE_FALSE(together);
  CHECK(says(together.error(), "cannot separate planes \"front plane\" and \"rear plane\""));
}

TEST_CASE("Two runs with both planes changed in different proportion are enough") {
  const Rotor rotor = two_plane_rotor();
  const auto model =
      fit_influence(job_of(rotor, {known.run(rotor, "baseline", {{}, {}}),
                                   known.run(rotor, "both", {free_at(300, 40), free_at(500, 250)}),
                                   known.run(rotor, "other", {free_at(300, 140), free_at(500, 250)})}));
  REQUIRE(model);
  check_is_known(*model);
}

TEST_CASE("A plane that no run changed is constant and left out unless it is asked for") {
  const Rotor rotor = two_plane_rotor();
  const auto model = fit_influence(job_of(
      rotor, {known.run(rotor, "baseline", {{}, {}}), known.run(rotor, "front", {free_at(300, 40), {}})}));
  REQUIRE(model);
  CHECK(model->planes == std::vector<std::size_t>{0});
}

TEST_CASE("A run set aside, an overall level and a reading without phase take no part, and it is said") {
  const Rotor rotor = two_plane_rotor();
  Run spoiled = known.run(rotor, "spoiled", {free_at(300, 40), {}});
  spoiled.readings[0].x = Phasor(99.0, 0.0);
  spoiled.set_aside = "gusts";
  Run baseline = known.run(rotor, "baseline", {{}, {}});
  Reading overall = baseline.readings[0];
  overall.component = Component::overall;
  overall.x.reset();
  Reading no_phase = baseline.readings[0];
  no_phase.x.reset();
  baseline.readings.push_back(overall);
  baseline.readings.push_back(no_phase);
  const auto model =
      fit_influence(job_of(rotor, {baseline, spoiled, known.run(rotor, "front", {free_at(300, 40), {}}),
                                   known.run(rotor, "rear", {{}, free_at(500, 250)})}));
  REQUIRE(model);
  check_is_known(*model);
  REQUIRE(model->runs.left_out.size() == 2);
  CHECK(model->runs.left_out[0].why.find("overall") != std::string::npos);
  CHECK(model->runs.left_out[1].why.find("amplitude-only") != std::string::npos);
}

TEST_CASE("A sensor that failed in one run is not predicted; the others are") {
  const Rotor rotor = two_plane_rotor();
  Run rear = known.run(rotor, "rear", {{}, free_at(500, 250)});
  rear.readings.erase(rear.readings.begin());
  const auto model = fit_influence(job_of(rotor, {known.run(rotor, "baseline", {{}, {}}),
                                                  known.run(rotor, "front", {free_at(300, 40), {}}), rear}));
  REQUIRE(model);
  REQUIRE(model->rows.size() == 1);
  CHECK(model->rows[0].sensor == 1);
  REQUIRE(model->unsettled.size() == 1);
  CHECK(model->unsettled[0].why == "no usable reading in run \"rear\"");
}

TEST_CASE("The standard deviation of a prediction follows from the repeatability") {
  // One plane, baseline and trial at U: x(V) = (1 - v) b + v t with v = V/U, so var = ((1-v)^2 + v^2) sd^2.
  Rotor rotor = free_rotor({"fan"}, {"A"});
  rotor.sensors[0].repeatability = 0.03;
  const auto model =
      fit_influence(job_of(rotor, {run_of(rotor, "baseline", {{}}, {{0.5, 20.0}}),
                                   run_of(rotor, "trial", {{{400.0, RotorAngle{}}}}, {{0.3, 60.0}})}));
  REQUIRE(model);
  for (const double v : {0.0, 0.5, 1.0, -1.0}) {
    Eigen::VectorXcd u(1);
    u << 400.0 * v;
    CHECK(*prediction_sd(*model, model->rows[0], u) ==
          doctest::Approx(0.03 * std::sqrt((1 - v) * (1 - v) + v * v)));
  }
  CHECK(*coefficient_sd(*model, model->rows[0], 0) == doctest::Approx(0.03 * std::sqrt(2.0) / 400.0));
}

namespace {

/// Three trial runs in one plane, two of them not in line with the third, readings with a little scatter.
Job mirror_job(const Rotor& rotor, PhaseConvention written_in, const std::vector<double>& trial_angles) {
  const KnownRotor one{{Phasor(0.6, 0.2)}, {{Phasor(1e-3, 5e-4)}}};
  std::vector<Run> runs{one.run(rotor, "baseline", {{}})};
  for (const double angle : trial_angles)
    runs.push_back(one.run(rotor, "trial " + std::to_string(runs.size()), {free_at(400, angle)}));
  double scatter = 0.004;
  for (auto& run : runs) {
    auto& x = *run.readings[0].x;
    x += scatter;
    scatter = -scatter;
    if (written_in == PhaseConvention::lead) x = std::conj(x);  // held as if it had been read as lag
  }
  return job_of(rotor, runs);
}

}  // namespace

TEST_CASE("Lag read as lead is detected where the trial weights are not in line") {
  Rotor rotor = free_rotor({"fan"}, {"A"}, PhaseConvention::lag);
  rotor.sensors[0].repeatability = 0.005;
  const auto right = fit_influence(mirror_job(rotor, PhaseConvention::lag, {0, 90, 200}));
  REQUIRE(right);
  CHECK(right->runs.mirror.outcome == MirrorTest::Outcome::supports_given);
  const auto wrong = fit_influence(mirror_job(rotor, PhaseConvention::lead, {0, 90, 200}));
  REQUIRE(wrong);
  CHECK(wrong->runs.mirror.outcome == MirrorTest::Outcome::contradicts);
  const auto in_line = fit_influence(mirror_job(rotor, PhaseConvention::lead, {30, 210}));
  REQUIRE(in_line);
  CHECK(in_line->runs.mirror.outcome == MirrorTest::Outcome::cannot_tell);
}

TEST_CASE("One sensor read the other way is found although the other outvotes it") {
  Rotor rotor = free_rotor({"fan"}, {"A", "B"}, PhaseConvention::lag);
  rotor.sensors[0].repeatability = 0.005;
  rotor.sensors[1].repeatability = 0.02;  // its readings weigh less
  Job job = mirror_job(rotor, PhaseConvention::lag, {0, 90, 200});
  for (auto& run : job.runs) {
    Reading second = run.readings[0];
    second.sensor = 1;
    second.x = std::conj(*second.x);
    run.readings.push_back(second);
  }
  const auto model = fit_influence(settled(job));
  REQUIRE(model);
  CHECK(model->runs.mirror.outcome == MirrorTest::Outcome::contradicts);
  CHECK(model->runs.mirror.mirrored_sensors == std::vector<std::size_t>{1});
}

TEST_CASE("Where neither convention fits, neither is said to be supported, and the prediction is widened") {
  Rotor rotor = free_rotor({"fan"}, {"A"}, PhaseConvention::lag);
  rotor.sensors[0].repeatability = 0.005;
  const auto sound = fit_influence(mirror_job(rotor, PhaseConvention::lag, {0, 90, 200}));
  REQUIRE(sound);
  Job job = mirror_job(rotor, PhaseConvention::lag, {0, 90, 200});
  *job.runs[2].readings[0].x += 0.4;
  const auto model = fit_influence(job);
  REQUIRE(model);
  CHECK(model->runs.mirror.outcome != MirrorTest::Outcome::supports_given);
  CHECK(excess_scatter(*model) > 5.0);
  CHECK(excess_scatter(*sound) == doctest::Approx(1.0));
}

TEST_CASE("An unknown convention is settled by the runs, and the answer withheld where they cannot") {
  Rotor rotor = free_rotor({"fan"}, {"A"}, PhaseConvention::unknown);
  rotor.sensors[0].repeatability = 0.005;
  for (const auto truth : {PhaseConvention::lag, PhaseConvention::lead}) {
    const auto settled = settle_and_fit(mirror_job(rotor, truth, {0, 90, 200}));
    REQUIRE(settled);
    CHECK(settled->job.rotor.phase == truth);
    CHECK(std::abs(settled->model.rows[0].coefficients(0) - Phasor(1e-3, 5e-4)) < 5e-5);
  }
  const auto open = settle_and_fit(mirror_job(rotor, PhaseConvention::lag, {0}));
  REQUIRE_FALSE(open);
  CHECK(says(open.error(), "cannot tell lag from lead"));
}

TEST_CASE("A reading off its speed point is left out where the vibration changes too fast") {
  Rotor rotor = free_rotor({"fan"}, {"A"});
  rotor.speed_tolerance_rpm = 40.0;
  const auto reading = [&](std::size_t speed, double rpm, Phasor x) {
    Reading r = reading_of(rotor, 0, {1.0, 0.0}, speed, rpm);
    r.x = x;
    return r;
  };
  Run baseline{"baseline", {}, {{}}, {}, {reading(0, 2000, 1.0), reading(1, 2100, Phasor(0.0, -4.0))}, {}};
  Run trial{"trial", {}, {free_at(400, 0)}, {}, {reading(0, 2000, 1.2), reading(1, 2115, Phasor(-1.0, -3.0))},
            {}};
  Job job = job_of(rotor, {baseline, trial});
  const auto model = fit_influence(job);
  REQUIRE(model);
  REQUIRE(model->runs.left_out.empty());  // 15 rpm of 115: about a tenth of the way to the neighbour
  job.runs[1].readings[1].rpm = 2150;
  const auto steep = fit_influence(job);
  REQUIRE(steep);
  REQUIRE(steep->runs.left_out.size() == 1);
  CHECK(steep->runs.left_out[0].why.find("50 rpm off") != std::string::npos);
}

TEST_CASE("Weights that changed no reading settle nothing, and no plan is made on them") {
  const Rotor rotor = free_rotor({"fan", "drum"}, {"A", "B"});
  const auto job_with = [&](double effect) {
    const KnownRotor other{{Phasor(0.6, 0.2), Phasor(0.1, 0.4)}, {{1e-3, effect}, {5e-4, effect}}};
    return job_of(rotor,
                  {other.run(rotor, "baseline", {{}, {}}), other.run(rotor, "fan", {free_at(400, 0), {}}),
                   other.run(rotor, "drum", {{}, free_at(400, 0)})});
  };
  CHECK(fit_influence(job_with(1e-6)));  // 4e-4 mil: small, and still an effect
  for (const double effect : {0.0, 1e-15}) {
    const auto refused = fit_influence(job_with(effect));
    REQUIRE_FALSE(refused);
    CHECK(refused.error().message().find("\"drum\"") != std::string::npos);
    CHECK_FALSE(settle_and_fit(job_with(effect)));
  }
}

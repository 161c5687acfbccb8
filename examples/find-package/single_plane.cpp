// One plane, one speed, one sensor, by the library: baseline, trial, correction.
#include <cstdio>
#include <trimwright/influence.hpp>
#include <trimwright/trim.hpp>

int main() {
  using namespace trimwright;
  Job job;
  job.rotor.name = "bench rotor";
  job.rotor.phase = PhaseConvention::lag;
  job.rotor.planes.push_back({.name = "disc"});
  Sensor sensor;
  sensor.name = "bearing";
  sensor.unit = *parse_vibration_unit("mm/s peak");
  sensor.phase_of = MotionQuantity::velocity;
  sensor.bands = {{.up_to_rpm = 3000.0, .limit = 4.0, .target = {}}};
  job.rotor.sensors = {sensor};
  job.speeds_rpm = {1500.0};

  Reading reading;
  reading.rpm = 1500.0;
  reading.x = from_shown(sensor, {3.2, 40.0}, PhaseConvention::lag);
  Run baseline{.name = "baseline",
               .conditions = {},
               .fitted = {{}},
               .changes = {},
               .readings = {reading},
               .set_aside = {}};
  reading.x = from_shown(sensor, {2.5, 75.0}, PhaseConvention::lag);
  Run trial{.name = "trial",
            .conditions = {},
            .fitted = {{}},
            .changes = {},
            .readings = {reading},
            .set_aside = {}};
  trial.fitted[0].free = {{.moment_g_mm = 500.0, .at = RotorAngle::from_degrees(90.0)}};
  job.runs = {baseline, trial};
  job.fitted_now = baseline.fitted;
  if (const auto settled = settle_places(job); !settled)
    return std::printf("%s\n", settled.error().message().c_str()), 1;

  const auto model = fit_influence(job);
  if (!model) return std::printf("%s\n", model.error().message().c_str()), 1;
  const auto plan = plan_trim(job, *model, {});
  if (!plan) return std::printf("%s\n", plan.error().message().c_str()), 1;
  const auto add = plan->correction.parts[0].moment_to_add;
  std::printf("add %.1f g mm at %.1f deg with rotation; expected worst ratio %.3f\n", std::abs(add),
              RotorAngle::of(add).degrees(), plan->worst_ratio);
}

// One plane, one speed, one sensor, by the library: a baseline, a trial, and what to add to the trial's
// weight. Weights in g mm at degrees with rotation; readings: speed in rpm, amplitude, phase lag in degrees.
#include <complex>
#include <cstdio>
#include <trimwright/plan.hpp>

int main() {
  trimwright::JobBuilder bench("bench rotor", trimwright::PhaseConvention::lag);
  bench.plane("disc").sensor("bearing", "mm/s peak", 4.0);  // its limit
  bench.run("baseline").read("bearing", 1500.0, 3.2, 40.0);
  bench.run("trial").fit("disc", 500.0, 90.0).read("bearing", 1500.0, 2.5, 75.0);
  const auto job = bench.job();
  const auto planned = job ? trimwright::plan_job(*job) : tl::unexpected(job.error());
  if (!planned) return std::puts(planned.error().message().c_str());
  const auto add = planned->trim.correction.parts[0].moment_to_add;  // one plane, one part
  std::printf("add %.1f g mm at %.1f deg with rotation; expected worst ratio %.3f\n", std::abs(add),
              trimwright::RotorAngle::of(add).degrees(), planned->trim.worst_ratio);
}

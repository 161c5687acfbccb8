#include "virtual_run.hpp"

#include <cmath>
#include <string>

#include "draws.hpp"

namespace trimwright::virtual_rotor {

namespace {

/// Streams of one seed.
enum Stream : std::uint64_t { seating, gain_of_run, speed_held, gain_of_reading, repeatability };

Result<void> check_request(const AssembledRotor& assembled,
                           const std::vector<std::complex<double>>& unbalance,
                           const std::vector<double>& speeds_rpm, int repeats) {
  const std::size_t planes = assembled.rotor().planes.size();
  if (unbalance.size() != planes) {
    return fail(std::to_string(unbalance.size()) + " unbalances were given",
                "one per plane, " + std::to_string(planes));
  }
  for (const std::complex<double>& moment : unbalance) {
    if (!std::isfinite(std::abs(moment))) return fail("an unbalance is not finite", "g mm");
  }
  for (const double speed : speeds_rpm) {
    if (!std::isfinite(speed) || speed <= 0.0) {
      return fail("a run at " + std::to_string(speed) + " rpm is not possible", "a speed above zero");
    }
  }
  if (repeats < 1) return fail(std::to_string(repeats) + " repeats", "at least one");
  return {};
}

}  // namespace

Result<std::vector<VirtualReading>> virtual_run(const AssembledRotor& assembled,
                                                const std::vector<std::complex<double>>& unbalance,
                                                const std::vector<double>& speeds_rpm,
                                                const RunScatter& scatter, int repeats, std::uint64_t seed) {
  if (auto checked = check_request(assembled, unbalance, speeds_rpm, repeats); !checked) {
    return tl::unexpected<Error>(checked.error());
  }
  std::vector<std::complex<double>> seated = unbalance;
  for (std::size_t p = 0; p < seated.size(); ++p) {
    seated[p] += scatter.seating_moment * Draws(seed, seating).gaussian_pair(p);
  }
  const Phasor run_gain = 1.0 + scatter.gain_of_run * Draws(seed, gain_of_run).gaussian_pair(0);
  const Draws speed_draws(seed, speed_held), gain_draws(seed, gain_of_reading), noise(seed, repeatability);

  std::vector<VirtualReading> readings;
  const std::vector<CasingSensor>& sensors = assembled.rotor().sensors;
  for (std::size_t point = 0; point < speeds_rpm.size(); ++point) {
    Eigen::VectorXcd truth;
    for (int repeat = 0; repeat < repeats; ++repeat) {
      const double speed = speeds_rpm[point] * (1.0 + scatter.speed * speed_draws.gaussian(readings.size()));
      if (repeat == 0 || scatter.speed != 0.0) truth = vibration(speed_response(assembled, speed), seated);
      for (std::size_t s = 0; s < sensors.size(); ++s) {
        const std::size_t i = readings.size();
        const Phasor gain = run_gain * (1.0 + scatter.gain_of_reading * gain_draws.gaussian_pair(i));
        Phasor value = gain * truth(static_cast<Eigen::Index>(s));
        if (scatter.repeatability) value += sensors[s].repeatability * noise.gaussian_pair(i);
        readings.push_back({speed, static_cast<int>(point), static_cast<int>(s), value});
      }
    }
  }
  return readings;
}

}  // namespace trimwright::virtual_rotor

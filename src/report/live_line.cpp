#include "live_line.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "convention_words.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

constexpr double wanted_deg = 1.0;  ///< standard deviation of the phase that is enough

/// Seconds until the phase is known to a degree: the standard deviation falls with the root of the time.
double still_to_hold_s(double held_s, double sd_deg) {
  return held_s * (std::pow(sd_deg / wanted_deg, 2) - 1.0);
}

}  // namespace

std::string live_line(const ReadingNow& now, std::span<const RecordedSensor> sensors, const Rotor& rotor) {
  if (now.lost()) return fmt::format("NO REFERENCE for {:.0f} s: no regular teeth", now.without_teeth_s);
  std::string text = fmt::format("{:.0f} rpm", now.speed_rpm);
  if (now.reference != ReferenceVerdict::trusted)
    return text + fmt::format(", NO PHASE: {}", describe(now.reference));
  Extraction extraction;
  extraction.dwells = {now.dwell};
  extraction.channels.resize(now.dwell.channels.size());
  double worst_deg = 0.0;
  for (const RecordedReading& reading : recorded_readings(rotor, sensors, extraction)) {
    const Sensor& sensor = rotor.sensors[reading.sensor];
    text +=
        fmt::format(" | {} {}", sensor.name, amplitude_words(sensor.unit.shown_from_peak(reading.amplitude)));
    if (!reading.x || !reading.sd) continue;
    const double sd_deg = degrees(*reading.sd / std::max(reading.amplitude, 1e-300));
    worst_deg = std::max(worst_deg, sd_deg);
    text +=
        fmt::format(" ∠ {} ± {:.2g}°", angle_words(shown(sensor, *reading.x, rotor.phase).phase_deg), sd_deg);
  }
  if (!now.dwell.phase_trusted) return text + " | hold the speed";
  if (!now.dwell.steady) return text + " | not steady";
  if (worst_deg <= wanted_deg) return text + " | enough";
  const double held_s = now.dwell.span.end_s - now.dwell.span.begin_s;
  return text +
         fmt::format(" | hold on: {:.0f} s more for ± 1°", std::ceil(still_to_hold_s(held_s, worst_deg)));
}

}  // namespace trimwright

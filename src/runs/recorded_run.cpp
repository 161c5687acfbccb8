#include "recorded_run.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "reference/kinematics.hpp"

namespace trimwright {
namespace {

constexpr int many_for_resonance =
    240;  ///< blocks from which +- holds beside a resonance (reference_neighbours)

int derivatives(MotionQuantity from, MotionQuantity to) {
  return static_cast<int>(std::lround(phase_lead_deg(from, to) / 90.0));
}

/// The complex factor from a phasor in `from` to one in `to` at `rpm`, both peak.
Phasor conversion(const VibrationUnit& from, const VibrationUnit& to, double rpm) {
  if (from.quantity == MotionQuantity::as_shown || to.quantity == MotionQuantity::as_shown) {
    assert(from == to);
    return 1.0;
  }
  const double omega = rpm * std::numbers::pi / 30.0;
  return differentiated(from.si_per_unit / to.si_per_unit, omega, derivatives(from.quantity, to.quantity));
}

std::string refusal_words(const DwellReading& dwell) {
  if (dwell.refused_blocks == 0) return "no phase: too few revolutions";
  return fmt::format("no phase: {} (in {:.0f} % of the revolutions)", describe(dwell.refusal),
                     100.0 * dwell.refused_blocks / (dwell.blocks + dwell.refused_blocks));
}

void note_channel(const ChannelCondition& channel, RecordedReading& reading) {
  if (channel.silent) {
    reading.amplitude_known = false;
    reading.notes.emplace_back("the channel is silent");
  } else if (channel.clipped) {
    const double part = static_cast<double>(channel.flat_at_limit) / static_cast<double>(channel.samples);
    reading.amplitude_known = part <= most_clipped;
    reading.notes.push_back(fmt::format("the channel is clipped ({:.2g} % of its samples)", 100.0 * part));
  }
}

void note_steadiness(const DwellReading& dwell, const ChannelReading& channel, RecordedReading& reading) {
  if (std::abs(dwell.speed_drift_rpm) > DwellRules{}.speed_tolerance * dwell.speed_rpm)
    reading.notes.push_back(fmt::format("the speed drifted by {:.0f} rpm", dwell.speed_drift_rpm));
  if (reading.x && !channel.steady)
    reading.notes.push_back(fmt::format("not steady: changed by {:.0f} % of the amplitude in {:.0f} s",
                                        100.0 * std::abs(channel.change / channel.value),
                                        dwell.span.end_s - dwell.span.begin_s));
}

RecordedReading reading_of(const Rotor& rotor, const RecordedSensor& recorded, const DwellReading& dwell,
                           const ChannelReading& channel, const ChannelCondition& condition) {
  const Sensor& sensor = rotor.sensors[recorded.sensor];
  RecordedReading reading;
  reading.sensor = recorded.sensor;
  reading.rpm = dwell.speed_rpm;
  const Phasor factor = conversion(recorded.recorded, sensor.unit, dwell.speed_rpm);
  reading.amplitude = std::abs(factor) * channel.amplitude;
  note_channel(condition, reading);
  if (!dwell.phase_trusted) {
    reading.notes.push_back(refusal_words(dwell));
  } else if (reading.amplitude_known) {
    reading.x = factor * channel.value;
    reading.amplitude = std::abs(*reading.x);
    reading.sd = std::abs(factor) * channel.sd;
  }
  note_steadiness(dwell, channel, reading);
  if (reading.x && channel.other_hz)
    reading.notes.push_back(
        fmt::format("another vibration is near, at {:.3f} times shaft speed and {:.0f} % of this amplitude; "
                    "it is told apart",
                    1.0 + *channel.other_hz * 60.0 / dwell.speed_rpm,
                    100.0 * channel.other_amplitude / std::abs(channel.value)));
  if (reading.x && channel.resonance)
    reading.notes.emplace_back(
        dwell.blocks < many_for_resonance
            ? "the reading wanders slowly, as beside a narrow resonance; in so short a dwell +- "
              "may be too small: hold longer"
            : "the reading wanders slowly, as beside a narrow resonance; +- allows for it");
  if (sensor.band_at(reading.rpm) == nullptr) {
    reading.for_job = false;
    reading.notes.emplace_back("the rotor file has no limit at this speed: not for the job");
  }
  return reading;
}

const char* kind_name(FindingKind kind) {
  switch (kind) {
    case FindingKind::no_pulses:
      return "no_pulses";
    case FindingKind::stopped_in_between:
      return "stopped_in_between";
    case FindingKind::signal_lost:
      return "signal_lost";
    case FindingKind::larger_not_alone:
      return "larger_not_alone";
    case FindingKind::widest_not_largest:
      return "widest_not_largest";
    case FindingKind::tooth_broken_off:
      return "tooth_broken_off";
    case FindingKind::larger_tooth_worn:
      return "larger_tooth_worn";
    case FindingKind::perhaps_worn:
      return "perhaps_worn";
    case FindingKind::not_as_stated:
      return "not_as_stated";
    case FindingKind::another_ring:
      return "another_ring";
    case FindingKind::taken_at_its_word:
      return "taken_at_its_word";
    case FindingKind::element_not_used:
      return "element_not_used";
    case FindingKind::channels_exchanged:
      return "channels_exchanged";
    case FindingKind::once_per_turn:
      return "once_per_turn";
    case FindingKind::pulses_irregular:
      return "pulses_irregular";
    case FindingKind::speed_out_of_range:
      return "speed_out_of_range";
    case FindingKind::wrong_tooth_count:
      return "wrong_tooth_count";
    case FindingKind::no_larger_tooth:
      return "no_larger_tooth";
    case FindingKind::larger_tooth_moved:
      return "larger_tooth_moved";
    case FindingKind::larger_tooth_weak:
      return "larger_tooth_weak";
    case FindingKind::polarity_reversed:
      return "polarity_reversed";
    case FindingKind::dropped_pulses:
      return "dropped_pulses";
    case FindingKind::extra_pulses:
      return "extra_pulses";
    case FindingKind::count_lost:
      return "count_lost";
    case FindingKind::tooth_out_of_place:
      return "tooth_out_of_place";
    case FindingKind::tooth_of_odd_size:
      return "tooth_of_odd_size";
    case FindingKind::swing_changes_with_speed:
      return "swing_changes_with_speed";
    case FindingKind::swing_changes_with_time:
      return "swing_changes_with_time";
    case FindingKind::elements_disagree:
      return "elements_disagree";
  }
  return "other";
}

RecordingFinding plain(const Finding& finding) {
  return {kind_name(finding.kind), finding.gravity, finding.what,
          finding.likely_cause,    finding.look_at, finding.tooth};
}

/// Silent or clipped.
void look_at_channel(const std::string& name, const ChannelCondition& channel, Gravity gravity,
                     std::vector<RecordingFinding>& found) {
  const std::string manual = " Limits and steps are those of the maker's current manual.";
  if (channel.silent)
    found.push_back(
        {"channel_silent",
         gravity,
         fmt::format("The signal of {} never changes.", name),
         "Nothing is connected to it, the sensor or its supply is dead, or another channel is meant.",
         "Check the channel number in the job, the cable and the sensor's supply." + manual,
         {}});
  if (channel.clipped)
    found.push_back(
        {"channel_clipped",
         gravity == Gravity::refusal ? Gravity::caution : gravity,
         fmt::format(
             "The signal of {} is clipped: {:.2g} % of its samples rest at {:.4g} or {:.4g}.", name,
             100.0 * static_cast<double>(channel.flat_at_limit) / static_cast<double>(channel.samples),
             channel.lowest, channel.highest),
         "The recorder's input range is too small, or an amplifier is overloaded.",
         "Record again with a larger range." + manual,
         {}});
}

/// Why a recording gives no phase, in a sentence.
std::string why_no_phase(const Recording& recording) {
  const auto gravest = std::find_if(recording.findings.begin(), recording.findings.end(),
                                    [](const auto& finding) { return finding.gravity == Gravity::refusal; });
  if (gravest != recording.findings.end()) return gravest->what;
  if (recording.readings.empty()) return "No dwell at steady speed was found.";
  for (const auto& reading : recording.readings)
    if (!reading.x && !reading.notes.empty()) return "At every dwell: " + reading.notes.front() + ".";
  return "Only its amplitudes are known.";
}

}  // namespace

std::vector<RecordedReading> recorded_readings(const Rotor& rotor, std::span<const RecordedSensor> sensors,
                                               const Extraction& extraction) {
  std::vector<RecordedReading> readings;
  for (std::size_t d = 0; d < extraction.dwells.size(); ++d) {
    const DwellReading& dwell = extraction.dwells[d];
    for (std::size_t k = 0; k < dwell.channels.size(); ++k) {
      readings.push_back(reading_of(rotor, sensors[k], dwell, dwell.channels[k], extraction.channels[k]));
      readings.back().dwell = d;
    }
  }
  return readings;
}

std::vector<RecordedSweepPoint> recorded_sweep(const Rotor& rotor, std::span<const RecordedSensor> sensors,
                                               const Extraction& extraction) {
  std::vector<RecordedSweepPoint> points;
  for (std::size_t k = 0; k < sensors.size(); ++k)
    for (const SweepPoint& point : extraction.sweep) {
      const Phasor factor =
          conversion(sensors[k].recorded, rotor.sensors[sensors[k].sensor].unit, point.speed_rpm);
      points.push_back({sensors[k].sensor, point.trend, point.speed_rpm, factor * point.channels[k],
                        std::abs(factor) * point.sd[k], point.blocks});
    }
  return points;
}

std::vector<RecordingFinding> recording_findings(const Extraction& extraction,
                                                 std::span<const Finding> disagreements,
                                                 const std::string& tooth_channel,
                                                 std::span<const std::string> channels) {
  std::vector<RecordingFinding> found;
  look_at_channel(tooth_channel, extraction.tooth_channel, Gravity::refusal, found);
  for (const Finding& finding : disagreements) found.push_back(plain(finding));
  for (const Finding& finding : extraction.health.findings) found.push_back(plain(finding));
  for (std::size_t k = 0; k < channels.size(); ++k)
    look_at_channel(channels[k], extraction.channels[k], Gravity::caution, found);
  std::stable_sort(found.begin(), found.end(),
                   [](const auto& a, const auto& b) { return a.gravity > b.gravity; });
  return found;
}

std::vector<std::string> reference_cautions(const Recording& recording) {
  constexpr std::size_t most = 3;
  std::vector<std::string> cautions;
  std::size_t all = 0;
  for (const RecordingFinding& finding : recording.findings) {
    const bool of_reference = finding.kind.rfind("channel_", 0) != 0;
    if (finding.gravity != Gravity::caution || !of_reference || ++all > most) continue;
    cautions.push_back(finding.what.substr(0, finding.what.size() - (finding.what.ends_with('.') ? 1 : 0)));
  }
  if (all > most) cautions.push_back(fmt::format("and {} more cautions on the reference", all - most));
  return cautions;
}

bool any_trusted_reference(const RecordedRun& run) {
  return std::ranges::any_of(run.recordings, [](const Recording& recording) {
    return std::ranges::any_of(recording.extraction.dwells,
                               [](const auto& dwell) { return dwell.phase_trusted; });
  });
}

bool any_phase(const RecordedRun& run) {
  for (const auto& recording : run.recordings)
    for (const auto& reading : recording.readings)
      if (reading.x) return true;
  return false;
}

std::string why_no_phase(const RecordedRun& run) {
  std::string why;
  for (const auto& recording : run.recordings) {
    const std::string one = why_no_phase(recording);
    if (why.find(one) == std::string::npos) why += (why.empty() ? "" : " ") + one;
  }
  return why;
}

std::optional<double> job_sd(const Sensor& sensor, const RecordedReading& reading) {
  if (!sensor.repeatability || !reading.sd) return std::nullopt;
  return std::hypot(*sensor.repeatability, *reading.sd);
}

}  // namespace trimwright

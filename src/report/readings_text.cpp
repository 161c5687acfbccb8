#include "readings_text.hpp"

#include <fmt/format.h>

#include <cmath>

#include "convention_words.hpp"
#include "plan_parts.hpp"
#include "text_table.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string headline(const Job& job, const RecordedRun& run) {
  return title_lines(job, "Readings from recordings") + "Run: " + run.run + "\n" +
         wrapped("", fmt::format("Amplitude and phase are of the once-per-revolution vibration. Phase is "
                                 "{}, from the reference tooth; +- is one standard deviation.",
                                 convention_words(job.rotor.phase)));
}

/// "0.3124 in/s ∠ 145.2°", or without the phase.
std::string value_words(const Job& job, const RecordedReading& reading) {
  const Sensor& sensor = job.rotor.sensors[reading.sensor];
  if (!reading.amplitude_known) return "?";
  const std::string amplitude = amplitude_words(sensor.unit.shown_from_peak(reading.amplitude));
  if (!reading.x) return amplitude + " ∠   none ";
  const double phase = shown(sensor, *reading.x, job.rotor.phase).phase_deg;
  return fmt::format("{} ∠ {:5.1f}°", amplitude, wrap_360(std::round(10.0 * phase) / 10.0));
}

/// "0.0012, 0.2°": of amplitude and of phase.
std::string sd_words(const Sensor& sensor, double amplitude, double sd) {
  const std::string of_amplitude = fmt::format("{:.2g}", sensor.unit.shown_from_peak(sd));
  if (!(sd < 0.5 * amplitude)) return of_amplitude + ", ?";
  return fmt::format("{}, {:.2g}°", of_amplitude, degrees(sd / amplitude));
}

std::string dwell_table(const Job& job, const Recording& recording) {
  TextTable table({{"from", Align::right},
                   {"to", Align::right},
                   {"speed", Align::left},
                   {"drift", Align::right},
                   {"sensor", Align::left},
                   {"reading", Align::right},
                   {"+-", Align::left},
                   {"unit", Align::left},
                   {"steady", Align::left}});
  for (const RecordedReading& reading : recording.readings) {
    const DwellReading& dwell = recording.extraction.dwells[reading.dwell];
    const Sensor& sensor = job.rotor.sensors[reading.sensor];
    const std::size_t k =
        static_cast<std::size_t>(&reading - recording.readings.data()) % dwell.channels.size();
    table.add({fmt::format("{:.1f} s", dwell.span.begin_s), fmt::format("{:.1f} s", dwell.span.end_s),
               speed_words(job.rotor, reading.rpm), fmt::format("{:+.1f}", dwell.speed_drift_rpm),
               sensor.name, value_words(job, reading),
               reading.sd ? sd_words(sensor, reading.amplitude, *reading.sd) : "?", sensor.unit.text(),
               !reading.x                 ? "?"
               : dwell.channels[k].steady ? "yes"
                                          : "NO"});
  }
  return table.text();
}

/// Notes on single readings, under the table they belong to.
std::string note_lines(const Job& job, const Recording& recording) {
  std::string text;
  for (const RecordedReading& reading : recording.readings)
    for (const auto& note : reading.notes)
      text += wrapped("  * ", fmt::format("{} at {:.0f} rpm: {}.", job.rotor.sensors[reading.sensor].name,
                                          reading.rpm, note));
  return text;
}

std::string empty_dwell_lines(const Recording& recording) {
  std::string text;
  for (const DwellReading& dwell : recording.extraction.dwells)
    if (dwell.channels.empty())
      text += fmt::format("  From {:.1f} s to {:.1f} s nothing could be read.\n", dwell.span.begin_s,
                          dwell.span.end_s);
  return text;
}

/// What the ring says beside the known one, question by question, for someone who has changed a pickup.
std::string ring_lines(const Recording& recording) {
  if (!recording.ring) return {};
  const RingComparison& ring = *recording.ring;
  std::string text = wrapped("  Ring: ", "compared with that of " + ring.from + ".");
  const auto say = [&](const std::string& sentence) { text += wrapped("    - ", sentence); };
  if (ring.same == RingComparison::Same::no)
    say("Same ring? NO: spacing, size and width of the teeth fit at no place.");
  else if (ring.same == RingComparison::Same::cannot_tell)
    say("Same ring? It cannot be told: the teeth are too even, or the signal too noisy, to know them apart.");
  else
    say(fmt::format("Same ring? Yes: {} of {} teeth have the spacing and size known, {} have changed.",
                    ring.teeth_alike, ring.teeth_alike + ring.teeth_changed, ring.teeth_changed));
  if (ring.same != RingComparison::Same::no)
    say(fmt::format(
        "Larger tooth the same one? {} Its size over the others was {:.2f} and is {:.2f}.",
        ring.same == RingComparison::Same::yes ? "Yes, the teeth around it say so." : "By its size only.",
        ring.ratio_then, ring.ratio_now));
  say(fmt::format("Signal as strong? {:.2f} times as strong, speed divided out{}.", ring.swing_ratio,
                  ring.swing_ratio < 0.8    ? ": weaker; the gap is wider, or debris lies on the tip"
                  : ring.swing_ratio > 1.25 ? ": stronger; the gap is narrower"
                                            : ""));
  say(ring.swing_as_before ? "Gap? Within what the known recording showed."
                           : "Gap? Not within what the known recording showed: check it against the manual.");
  if (!ring.polarity_as_before) say("Polarity? Declared the other way round than for the known ring.");
  bool agree = true;
  for (const RecordingFinding& finding : recording.findings)
    agree = agree && finding.kind != "elements_disagree";
  if (recording.elements.size() > 1)
    say(agree ? "Do the elements agree? Yes." : "Do the elements agree? NO, see below.");
  say("Is zero where it was on the rotor? Teeth alone cannot tell a ring or pickup mounted elsewhere, nor a "
      "delay in "
      "the chain. Run once with the weights of an earlier run: if its readings come back, zero has not "
      "moved.");
  return text;
}

std::string reference_lines(const Job& job, const Recording& recording) {
  const ReferenceHealth& health = recording.extraction.health;
  std::string text =
      fmt::format("{} teeth declared; {} pulses, {} missing, {} extra. ", job.rotor.reference.teeth,
                  health.tally.pulses, health.tally.dropped, health.tally.extra);
  if (health.blocks > 0)
    text += fmt::format("Phase trusted in {:.1f} % of the revolutions. ", 100.0 * health.trusted_part);
  if (health.ring.teeth() > 1 && health.reference.over_others > 1.0)
    text += fmt::format(
        "{}: {:.2f} times the others' size and {:.2f} times their width (larger_size, larger_width), {:.0f} "
        "% "
        "over the next largest. A tooth passes within {:.2g}° of its place.",
        health.trusted_blocks > 0 ? "Larger tooth" : "Largest tooth", health.reference.over_others,
        health.reference.wider, 100.0 * (health.reference.over_next - 1.0),
        degrees(health.passage_scatter_rad));
  std::string lines = wrapped("  Reference: ", text) + ring_lines(recording);
  for (const ElementComparison& pair : recording.element_pairs)
    lines += pair.moments == 0
                 ? wrapped("  ", fmt::format("{} and {} were never trusted at the same time.",
                                             recording.elements[pair.a], recording.elements[pair.b]))
                 : wrapped("  ",
                           fmt::format("Beside {}, {} says {:+.2f}° (scatter {:.2g}°), pulses {:.2f} times "
                                       "as large.",
                                       recording.elements[pair.a], recording.elements[pair.b],
                                       degrees(pair.ahead_rad), degrees(pair.scatter_rad), pair.swing_ratio));
  return lines;
}

std::string finding_lines(const Recording& recording) {
  if (recording.findings.empty()) return "  Nothing was found wrong with the reference or the channels.\n";
  std::string text;
  for (const RecordingFinding& finding : recording.findings) {
    const char* const lead = finding.gravity == Gravity::refusal   ? "  REFUSED  "
                             : finding.gravity == Gravity::caution ? "  caution  "
                                                                   : "  note     ";
    text += wrapped(lead, finding.what);
    text += wrapped("           Likely: ", finding.likely_cause);
    text += wrapped("           Look at: ", finding.look_at);
  }
  return text;
}

std::string sweep_table(const Job& job, const Recording& recording, std::size_t sensor_index) {
  const Sensor& sensor = job.rotor.sensors[sensor_index];
  TextTable table({{"", Align::left},
                   {"speed", Align::left},
                   {"amplitude", Align::right},
                   {"phase", Align::right},
                   {"+-", Align::left}});
  bool any = false;
  for (const RecordedSweepPoint& point : recording.sweep) {
    if (point.sensor != sensor_index) continue;
    any = true;
    const auto seen = shown(sensor, point.x, job.rotor.phase);
    table.add({point.trend == SpeedTrend::run_up ? "up" : "down", speed_words(job.rotor, point.rpm),
               amplitude_words(seen.amplitude), angle_words(seen.phase_deg),
               sd_words(sensor, std::abs(point.x), point.sd)});
  }
  if (!any) return {};
  return fmt::format("\n  {} [{}] in run-ups and run-downs\n", sensor.name, sensor.unit.text()) +
         table.text();
}

std::string recording_lines(const Job& job, const Recording& recording, bool sweep) {
  std::string text = fmt::format("\nRECORDING {} ({:.1f} s at {:.6g} Hz)\n", recording.file,
                                 recording.extraction.duration_s, recording.sample_rate_hz);
  if (recording.readings.empty())
    text += "  No dwell at steady speed could be read.\n";
  else
    text += dwell_table(job, recording);
  text += empty_dwell_lines(recording) + note_lines(job, recording);
  if (sweep) {
    if (recording.sweep.empty()) text += "  No run-up or run-down with a trusted reference.\n";
    for (const RecordedSensor& one : recording.sensors) text += sweep_table(job, recording, one.sensor);
  }
  return text + "\n" + reference_lines(job, recording) + finding_lines(recording);
}

}  // namespace

std::string readings_text(const Job& job, const RecordedRun& run, bool sweep) {
  std::string text = headline(job, run);
  for (const Recording& recording : run.recordings) text += recording_lines(job, recording, sweep);
  return text + caution_lines();
}

}  // namespace trimwright

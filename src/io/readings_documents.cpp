#include "readings_documents.hpp"

#include <fmt/format.h>

#include <cmath>

#include "csv_rows.hpp"
#include "json_parts.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/plan.hpp"

namespace trimwright {
namespace {

std::string joined(const std::vector<std::string>& notes) {
  std::string text;
  for (const auto& note : notes) text += (text.empty() ? "" : "; ") + note;
  return text;
}

std::string heading() {
  return csv_line({"run", "speed", "sensor", "amplitude", "phase", "sd", "component", "note"});
}

struct ReadingRow {
  double rpm = 0.0;
  const Sensor& sensor;
  std::optional<double> amplitude;  ///< peak
  std::optional<Phasor> x;
  std::optional<double> sd;  ///< peak
  std::string note;
};

std::string reading_line(const Job& job, const std::string& run, const ReadingRow& row) {
  const auto seen = [&](double peak) {
    return fmt::format("{:.6g} {}", row.sensor.unit.shown_from_peak(peak), row.sensor.unit.text());
  };
  std::string phase;
  if (row.x) {
    const double degrees = shown(row.sensor, *row.x, job.rotor.phase).phase_deg;
    phase = fmt::format("{:.2f} deg", wrap_360(std::round(100.0 * degrees) / 100.0));
  }
  return csv_line({run, fmt::format("{:.1f} rpm", row.rpm), row.sensor.name,
                   row.amplitude ? seen(*row.amplitude) : "missing", phase, row.sd ? seen(*row.sd) : "",
                   "once-per-rev", row.note});
}

Json shown_json(const Sensor& sensor, const std::optional<double>& peak) {
  return peak ? Json(sensor.unit.shown_from_peak(*peak)) : Json(nullptr);
}

Json phase_json(const Job& job, const Sensor& sensor, const std::optional<Phasor>& x) {
  return x ? Json(shown(sensor, *x, job.rotor.phase).phase_deg) : Json(nullptr);
}

Json readings_of(const Job& job, const Recording& recording, std::size_t dwell) {
  Json list = Json::array();
  for (std::size_t i = 0, k = 0; i < recording.readings.size(); ++i) {
    const RecordedReading& reading = recording.readings[i];
    if (reading.dwell != dwell) continue;
    const Sensor& sensor = job.rotor.sensors[reading.sensor];
    const ChannelReading& channel = recording.extraction.dwells[dwell].channels[k];
    list.push_back({{"sensor", sensor.name},
                    {"channel", recording.channels[k]},
                    {"unit", sensor.unit.text()},
                    {"amplitude", reading.amplitude_known ? shown_json(sensor, reading.amplitude) : nullptr},
                    {"phase_deg", phase_json(job, sensor, reading.x)},
                    {"sd", shown_json(sensor, reading.sd)},
                    {"job_sd", shown_json(sensor, job_sd(sensor, reading))},
                    {"steady", channel.steady},
                    {"change_chance", channel.change_chance},
                    {"left_over_rms", channel.left_over},
                    {"left_over_unit", recording.sensors[k].recorded.symbol},
                    {"for_job", reading.for_job},
                    {"notes", reading.notes}});
    ++k;
  }
  return list;
}

Json dwells_json(const Job& job, const Recording& recording) {
  Json list = Json::array();
  for (std::size_t d = 0; d < recording.extraction.dwells.size(); ++d) {
    const DwellReading& dwell = recording.extraction.dwells[d];
    list.push_back({{"begin_s", dwell.span.begin_s},
                    {"end_s", dwell.span.end_s},
                    {"speed_rpm", dwell.speed_rpm},
                    {"speed_sd_rpm", dwell.speed_sd_rpm},
                    {"speed_drift_rpm", dwell.speed_drift_rpm},
                    {"blocks", dwell.blocks},
                    {"refused_blocks", dwell.refused_blocks},
                    {"refusal", dwell.refused_blocks > 0 ? Json(describe(dwell.refusal)) : Json(nullptr)},
                    {"phase_trusted", dwell.phase_trusted},
                    {"steady", dwell.steady},
                    {"readings", readings_of(job, recording, d)}});
  }
  return list;
}

const char* gravity_name(Gravity gravity) {
  return gravity == Gravity::refusal ? "refusal" : gravity == Gravity::caution ? "caution" : "note";
}

Json findings_json(const Recording& recording) {
  Json list = Json::array();
  for (const RecordingFinding& finding : recording.findings)
    list.push_back({{"kind", finding.kind},
                    {"gravity", gravity_name(finding.gravity)},
                    {"what", finding.what},
                    {"likely_cause", finding.likely_cause},
                    {"look_at", finding.look_at},
                    {"tooth", finding.tooth ? Json(*finding.tooth) : Json(nullptr)}});
  return list;
}

const char* basis_name(ReferenceBasis basis) {
  switch (basis) {
    case ReferenceBasis::at_its_word:
      return "at_its_word";
    case ReferenceBasis::stated_size:
      return "stated_size";
    case ReferenceBasis::stated_size_and_width:
      return "stated_size_and_width";
    case ReferenceBasis::known_ring:
      return "known_ring";
  }
  return "at_its_word";
}

Json spans_json(const std::vector<TimeSpan>& spans) {
  Json list = Json::array();
  for (const TimeSpan& span : spans) list.push_back({{"begin_s", span.begin_s}, {"end_s", span.end_s}});
  return list;
}

Json ring_json(const std::optional<RingComparison>& ring) {
  if (!ring) return nullptr;
  const auto same = ring->same;
  return {{"from", ring->from},
          {"same_ring", same == RingComparison::Same::cannot_tell ? Json(nullptr)
                                                                  : Json(same == RingComparison::Same::yes)},
          {"teeth_alike", ring->teeth_alike},
          {"teeth_changed", ring->teeth_changed},
          {"larger_then", ring->ratio_then},
          {"larger_now", ring->ratio_now},
          {"signal_ratio", ring->swing_ratio},
          {"signal_as_before", ring->swing_as_before},
          {"polarity_as_before", ring->polarity_as_before}};
}

Json reference_json(const Recording& recording) {
  const ReferenceHealth& health = recording.extraction.health;
  const bool known = health.trusted_blocks > 0;
  const auto if_known = [&](double value) { return known ? Json(value) : Json(nullptr); };
  Json teeth = Json::array();
  const double pitch_deg = 360.0 / std::max(1, health.ring.teeth());
  const auto or_null = [](double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); };
  for (Eigen::Index i = 0; i < health.ring.size.size(); ++i)
    teeth.push_back(
        {{"size", or_null(std::exp(health.ring.size[i]))},
         {"width", or_null(std::exp(health.ring.width[i]))},
         {"spacing_error_deg", or_null(pitch_deg * (health.ring.spacing[i] - health.ring.spacing[0]))}});
  Json pairs = Json::array();
  for (const ElementComparison& pair : recording.element_pairs)
    pairs.push_back({{"element", recording.elements[pair.b]},
                     {"beside", recording.elements[pair.a]},
                     {"moments", pair.moments},
                     {"ahead_deg", degrees(pair.ahead_rad)},
                     {"scatter_deg", degrees(pair.scatter_rad)},
                     {"swing_ratio", pair.swing_ratio}});
  return {{"channel", recording.elements[recording.element_used]},
          {"verdict", describe(health.reference.verdict)},
          {"basis", basis_name(health.reference.basis)},
          {"without_signal", spans_json(health.without)},
          {"known_ring", ring_json(recording.ring)},
          {"blocks", health.blocks},
          {"trusted_blocks", health.trusted_blocks},
          {"pulses", health.tally.pulses},
          {"dropped", health.tally.dropped},
          {"extra", health.tally.extra},
          {"lost", health.tally.lost},
          {"larger_over_mean", if_known(health.reference.over_others)},
          {"larger_over_second", if_known(health.reference.over_next)},
          {"passage_scatter_deg", if_known(degrees(health.passage_scatter_rad))},
          {"teeth_shown", health.count_shown ? Json(*health.count_shown) : Json(nullptr)},
          {"teeth", std::move(teeth)},
          {"elements", std::move(pairs)}};
}

Json sweep_json(const Job& job, const Recording& recording) {
  Json list = Json::array();
  for (const RecordedSweepPoint& point : recording.sweep) {
    const Sensor& sensor = job.rotor.sensors[point.sensor];
    list.push_back({{"trend", point.trend == SpeedTrend::run_up ? "run_up" : "run_down"},
                    {"speed_rpm", point.rpm},
                    {"sensor", sensor.name},
                    {"unit", sensor.unit.text()},
                    {"amplitude", shown_json(sensor, std::abs(point.x))},
                    {"phase_deg", phase_json(job, sensor, point.x)},
                    {"sd", shown_json(sensor, point.sd)},
                    {"blocks", point.blocks}});
  }
  return list;
}

Json recording_json(const Job& job, const Recording& recording, bool sweep) {
  Json json = {{"file", recording.file},
               {"duration_s", recording.extraction.duration_s},
               {"sample_rate_hz", recording.sample_rate_hz},
               {"dwells", dwells_json(job, recording)},
               {"reference", reference_json(recording)},
               {"findings", findings_json(recording)}};
  if (sweep) json["sweep"] = sweep_json(job, recording);
  return json;
}

}  // namespace

std::string readings_csv(const Job& job, const RecordedRun& run) {
  std::string text = heading();
  for (const Recording& recording : run.recordings)
    for (const RecordedReading& reading : recording.readings) {
      if (!reading.for_job) continue;
      const Sensor& sensor = job.rotor.sensors[reading.sensor];
      std::vector<std::string> notes = reading.notes;
      const auto of_reference = reference_cautions(recording);
      notes.insert(notes.end(), of_reference.begin(), of_reference.end());
      ReadingRow row{reading.rpm, sensor, std::nullopt, reading.x, job_sd(sensor, reading), joined(notes)};
      if (reading.amplitude_known) row.amplitude = reading.amplitude;
      text += reading_line(job, run.run, row);
    }
  return text;
}

std::string sweep_csv(const Job& job, const RecordedRun& run) {
  std::string text = heading();
  for (const Recording& recording : run.recordings)
    for (const RecordedSweepPoint& point : recording.sweep)
      text += reading_line(job, run.run,
                           {point.rpm, job.rotor.sensors[point.sensor], std::abs(point.x), point.x,
                            std::nullopt, point.trend == SpeedTrend::run_up ? "run-up" : "run-down"});
  return text;
}

std::string readings_json(const Job& job, const RecordedRun& run, bool sweep) {
  Json json = document_header("readings", job);
  json["run"] = run.run;
  json["recordings"] = Json::array();
  for (const Recording& recording : run.recordings)
    json["recordings"].push_back(recording_json(job, recording, sweep));
  json["cautions"] = cautions();
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace trimwright

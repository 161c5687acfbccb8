#include "trimwright/io/read_recording.hpp"

#include <algorithm>
#include <utility>

namespace trimwright {
namespace {

constexpr std::size_t samples_per_block = 32768;
constexpr double sweep_step = 0.01;  ///< of the highest speed: width of a line of the run-up table

tl::unexpected<Error> in_file(Error error, const std::string& file) {
  if (error.where.file.empty()) error.where.file = file;
  return tl::unexpected(std::move(error));
}

ToothRing ring_of(const RecordingPlan& plan, const Rotor& rotor, const RecordedElement& element) {
  return {rotor.reference.teeth, rotor.reference.falling ? CentreSlope::falling : CentreSlope::rising,
          plan.lowest_rpm, plan.highest_rpm, element.delay_s};
}

std::vector<VibrationChannel> vibration_channels(const RecordingPlan& plan, const Rotor& rotor) {
  std::vector<VibrationChannel> channels;
  for (const auto& one : plan.vibration)
    channels.push_back({one.place.text(), one.delay_s, one.phase_shift_rad,
                        rotor.sensors[one.sensor.sensor].positive_inward});
  return channels;
}

/// The extractor of the readings and, beside it, one for each further sensing element.
struct Listeners {
  std::vector<ReadingExtractor> extractors;  ///< by element; the first has the vibration channels
  std::vector<ElementWatch> watches;

  static Result<Listeners> create(const RecordingPlan& plan, const Rotor& rotor, double sample_rate_hz,
                                  const ExtractionRules& rules) {
    Listeners all;
    for (const RecordedElement& element : plan.reference) {
      auto channels =
          all.extractors.empty() ? vibration_channels(plan, rotor) : std::vector<VibrationChannel>{};
      auto extractor =
          ReadingExtractor::create(ring_of(plan, rotor, element), sample_rate_hz, std::move(channels), rules);
      if (!extractor) return tl::unexpected(extractor.error());
      all.extractors.push_back(*std::move(extractor));
      all.watches.emplace_back(element.place.text());
    }
    return all;
  }

  Result<void> push(const std::vector<std::vector<float>>& samples) {
    const std::vector<std::span<const float>> all(samples.begin(), samples.end());
    const std::span<const std::span<const float>> vibration = std::span(all).subspan(extractors.size());
    for (std::size_t e = 0; e < extractors.size(); ++e) {
      const auto pushed = extractors[e].push(all[e], e == 0 ? vibration : vibration.first(0));
      if (!pushed) return pushed;
      watch(e);
    }
    return {};
  }

  Extraction finish() {
    Extraction readings = extractors.front().finish();
    watch(0);
    for (std::size_t e = 1; e < extractors.size(); ++e) {
      (void)extractors[e].finish();
      watch(e);
    }
    return readings;
  }

 private:
  void watch(std::size_t element) {
    for (const RevolutionBlock& block : extractors[element].latest_blocks()) watches[element].see(block);
  }
};

Result<void> read_all(RecordingReader& reader, Listeners& listeners, const RecordingOptions& options) {
  std::vector<std::vector<float>> samples;
  while (true) {
    const auto got = reader.read(samples_per_block, samples);
    if (!got) return tl::unexpected(got.error());
    if (*got == 0) return {};
    if (auto ok = listeners.push(samples); !ok) return ok;
    if (options.progress) options.progress(reader.part_read());
  }
}

/// Samples at the limit of an integer format that were too few to be called clipping.
void note_full_scale(const RecordingReader& reader, const RecordingDescription& description,
                     const Extraction& extraction, std::size_t elements,
                     std::vector<RecordingFinding>& findings) {
  for (std::size_t k = 0; k < description.channels.size(); ++k) {
    const bool tooth = k < elements;
    const ChannelCondition& channel = tooth ? extraction.tooth_channel : extraction.channels[k - elements];
    const auto samples = reader.at_full_scale(k);
    if (samples == 0 || channel.clipped || channel.silent || (tooth && k > 0)) continue;
    findings.push_back({"channel_at_full_scale",
                        Gravity::note,
                        std::to_string(samples) + " samples of " + description.channels[k].name +
                            " stand at the limit of the file's number format.",
                        "The recorder was overdriven for moments.",
                        "Record again with a larger range.",
                        {}});
  }
}

}  // namespace

Result<Recording> read_recording(const std::string& file, const RecordingPlan& plan, const Rotor& rotor,
                                 const RecordingOptions& options) {
  if (rotor.phase == PhaseConvention::unknown)
    return fail("the rotor file says phase: unknown, but the phase of a recording is known",
                "phase: lag or lead in the rotor file", {file, 0, {}});
  auto description = plan.description(file);
  if (!description) return tl::unexpected(description.error());
  description->accept_truncated = options.accept_truncated;
  auto reader = RecordingReader::open(file, *description);
  if (!reader) return in_file(reader.error(), file);
  ExtractionRules rules;
  rules.given_dwells = options.dwells;
  rules.sweep.step_rpm = sweep_step * plan.highest_rpm;
  auto listeners = Listeners::create(plan, rotor, reader->sample_rate_hz(), rules);
  if (!listeners) return in_file(listeners.error(), file);
  if (auto ok = read_all(*reader, *listeners, options); !ok) return in_file(ok.error(), file);

  Recording recording;
  recording.file = file;
  recording.sample_rate_hz = reader->sample_rate_hz();
  for (const auto& channel : plan.vibration) {
    recording.channels.push_back(channel.place.text());
    recording.sensors.push_back(channel.sensor);
  }
  recording.extraction = listeners->finish();
  for (const auto& watch : listeners->watches) recording.elements.push_back(watch.name());
  recording.element_pairs = compared(listeners->watches);
  recording.findings =
      recording_findings(recording.extraction, disagreements(listeners->watches, rotor.reference.teeth),
                         recording.elements.front(), recording.channels);
  note_full_scale(*reader, *description, recording.extraction, plan.reference.size(), recording.findings);
  recording.readings = recorded_readings(rotor, recording.sensors, recording.extraction);
  recording.sweep = recorded_sweep(rotor, recording.sensors, recording.extraction);
  return recording;
}

}  // namespace trimwright

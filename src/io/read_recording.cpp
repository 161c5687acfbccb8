#include "read_recording.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace trimwright {
namespace {

constexpr std::size_t samples_per_block = 32768;
constexpr double least_missing_s = 0.5;  ///< of a dwell asked for, to be told
constexpr double sweep_step = 0.01;      ///< of the highest speed: width of a line of the run-up table

tl::unexpected<Error> in_file(Error error, const std::string& file) {
  if (error.where.file.empty()) error.where.file = file;
  return tl::unexpected(std::move(error));
}

ToothRing ring_of(const RecordingPlan& plan, const Rotor& rotor, const RecordedElement& element) {
  return {rotor.reference.teeth, rotor.reference.falling ? CentreSlope::falling : CentreSlope::rising,
          plan.lowest_rpm,       plan.highest_rpm,
          element.delay_s,       element.at_rad};
}

std::vector<VibrationChannel> vibration_channels(const RecordingPlan& plan, const Rotor& rotor) {
  std::vector<VibrationChannel> channels;
  for (const auto& one : plan.vibration)
    channels.push_back({one.place.text(), one.delay_s, one.phase_shift_rad,
                        rotor.sensors[one.sensor.sensor].positive_inward});
  return channels;
}

/// Readings by every sensing element: only at the end is it known which can be trusted.
struct Listeners {
  std::vector<ReadingExtractor> extractors;  ///< by element
  std::vector<ElementWatch> watches;

  static Result<Listeners> create(const RecordingPlan& plan, const Rotor& rotor, double sample_rate_hz,
                                  const ExtractionRules& rules) {
    Listeners all;
    for (const RecordedElement& element : plan.reference) {
      auto extractor = ReadingExtractor::create(ring_of(plan, rotor, element), sample_rate_hz,
                                                vibration_channels(plan, rotor), rules);
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
      const auto pushed = extractors[e].push(all[e], vibration);
      if (!pushed) return pushed;
      watch(e);
    }
    return {};
  }

  std::vector<Extraction> finish() {
    std::vector<Extraction> all;
    for (std::size_t e = 0; e < extractors.size(); ++e) {
      all.push_back(extractors[e].finish());
      watch(e);
      watches[e].settle(all.back().turns, all.back().health.reference.basis);
    }
    return all;
  }
  /// Of the first element that can be trusted just now; of the first where none can.
  [[nodiscard]] ReadingNow now() const {
    for (const ReadingExtractor& one : extractors)
      if (const ReadingNow seen = one.now(); seen.reference == ReferenceVerdict::trusted && !seen.lost())
        return seen;
    return extractors.front().now();
  }

 private:
  void watch(std::size_t element) {
    for (const RevolutionBlock& block : extractors[element].latest_blocks()) watches[element].see(block);
  }
};

Result<void> read_all(RecordingReader& reader, Listeners& listeners, const RecordingOptions& options) {
  const auto at_once =
      options.live ? static_cast<std::size_t>(0.25 * reader.sample_rate_hz()) + 1 : samples_per_block;
  std::vector<std::vector<float>> samples;
  while (true) {
    const auto got = reader.read(at_once, samples);
    if (!got) return tl::unexpected(got.error());
    if (*got == 0) return {};
    if (auto ok = listeners.push(samples); !ok) return ok;
    if (options.live) options.live(listeners.now());
    if (options.progress) options.progress(reader.part_read());
  }
}

/// The readings of the element that is used; without phase where elements disagree and nothing decides.
Extraction decided(std::vector<Extraction> all, const ElementChoice& choice) {
  Extraction readings = std::move(all[choice.used]);
  if (choice.phase) return readings;
  for (DwellReading& dwell : readings.dwells) settle(dwell, {ReferenceVerdict::elements_disagree, 0.0});
  readings.sweep.clear();
  return readings;
}

void note_choice(const ElementChoice& choice, const std::vector<ElementWatch>& watches,
                 std::vector<Finding>& found) {
  const std::string look =
      "Check each element's resistance, wiring and channel number. Limits and steps are those "
      "of the maker's current manual.";
  if (!choice.phase)
    found.push_back({FindingKind::elements_disagree,
                     Gravity::refusal,
                     0.0,
                     {},
                     "The sensing elements say different teeth, and nothing decides which is right.",
                     "They sit apart on the ring (the job's key at says where), one is faulty, or channels "
                     "are exchanged.",
                     look});
  if (choice.used > 0)
    found.push_back({FindingKind::element_not_used,
                     Gravity::caution,
                     static_cast<double>(choice.used),
                     {},
                     "Phase is taken from element '" + watches[choice.used].name() + "', because '" +
                         watches.front().name() + "' cannot be trusted.",
                     "The first element or its wiring is faulty.",
                     look});
}

/// Where no element can be read: whether another channel shows the teeth, or this one a pulse once per turn.
Result<std::vector<Finding>> other_causes(const std::string& file, const RecordingPlan& plan,
                                          const Rotor& rotor, const RecordingDescription& description) {
  auto reader = RecordingReader::open(file, description);
  if (!reader) return tl::unexpected(reader.error());
  ToothRing ring = ring_of(plan, rotor, plan.reference.front());
  std::vector<ReadingExtractor> tries;
  std::vector<int> trusted(description.channels.size());
  for (std::size_t k = 0; k < description.channels.size(); ++k) {
    ring.teeth = k == 0 ? 1 : rotor.reference.teeth;
    auto extractor = ReadingExtractor::create(ring, reader->sample_rate_hz(), {}, {});
    if (!extractor) return tl::unexpected(extractor.error());
    tries.push_back(*std::move(extractor));
  }
  std::vector<std::vector<float>> samples;
  while (true) {
    const auto got = reader->read(samples_per_block, samples);
    if (!got) return tl::unexpected(got.error());
    if (*got == 0) break;
    for (std::size_t k = 0; k < tries.size(); ++k) {
      if (auto ok = tries[k].push(samples[k], {}); !ok) return tl::unexpected(ok.error());
      for (const RevolutionBlock& block : tries[k].latest_blocks())
        trusted[k] += block.verdict == ReferenceVerdict::trusted ? 1 : 0;
    }
  }
  std::vector<Finding> found;
  for (std::size_t i = 1; i <= tries.size(); ++i) {
    const std::size_t k = i % tries.size();  // the first last: any steady vibration shows a pulse per turn
    const bool once = k == 0;
    const bool clear =
        tries[k].finish().health.reference.verdict == ReferenceVerdict::trusted && trusted[k] >= 3;
    if (!clear || (once && (rotor.reference.teeth == 1 || !found.empty()))) continue;
    found.push_back(
        {once ? FindingKind::once_per_turn : FindingKind::channels_exchanged,
         Gravity::refusal,
         static_cast<double>(k),
         {},
         once ? "The tooth channel shows one pulse per turn, or teeth at a speed that would be out of range, "
                "and no ring."
              : "The teeth are on " + description.channels[k].name + ", not where the job says.",
         once ? "A once-per-turn pickup was recorded instead of the ring's." : "Channels are exchanged.",
         "Correct the channel numbers in the job, or the number of teeth in the rotor file."});
  }
  return found;
}

/// Samples at the limit of an integer format that were too few to be called clipping.
void note_full_scale(const RecordingReader& reader, const RecordingDescription& description,
                     const Extraction& extraction, std::size_t elements, std::size_t used,
                     std::vector<RecordingFinding>& findings) {
  for (std::size_t k = 0; k < description.channels.size(); ++k) {
    const bool tooth = k < elements;
    const ChannelCondition& channel = tooth ? extraction.tooth_channel : extraction.channels[k - elements];
    const auto samples = reader.at_full_scale(k);
    if (samples == 0 || channel.clipped || channel.silent || (tooth && k != used)) continue;
    findings.push_back({"channel_at_full_scale",
                        Gravity::note,
                        std::to_string(samples) + " samples of " + description.channels[k].name +
                            " stand at the limit of the file's number format.",
                        "The recorder was overdriven for moments.",
                        "Record again with a larger range.",
                        {}});
  }
}

/// Dwells asked for of which a good part could not be read.
void note_shorter_dwells(const std::vector<TimeSpan>& asked, const Extraction& extraction,
                         std::vector<RecordingFinding>& findings) {
  for (std::size_t i = 0; i < std::min(asked.size(), extraction.dwells.size()); ++i) {
    const TimeSpan& wanted = asked[i];
    const DwellReading& dwell = extraction.dwells[i];
    const double missing_s = std::max(dwell.span.begin_s - wanted.begin_s, wanted.end_s - dwell.span.end_s);
    const int blocks = dwell.blocks + dwell.refused_blocks;
    if (blocks == 0 ||
        missing_s < std::max(least_missing_s, 2.0 * (dwell.span.end_s - dwell.span.begin_s) / blocks))
      continue;
    findings.push_back(
        {"dwell_shortened",
         Gravity::note,
         fmt::format("Of the dwell from {:.1f} s to {:.1f} s only {:.1f} s to {:.1f} s could be read.",
                     wanted.begin_s, wanted.end_s, dwell.span.begin_s, dwell.span.end_s),
         "In the rest no teeth were read, or which tooth is which could not be carried over.",
         "Compare with the log of the run, and with what is said of lost signal; or give each stretch a "
         "dwell "
         "of its own.",
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
  rules.known = {rotor.reference.larger_size, rotor.reference.larger_width, {}};
  if (options.ring) rules.known.ring = options.ring->picture;
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
  auto extractions = listeners->finish();
  const ElementChoice choice = chosen_element(listeners->watches, rotor.reference.teeth);
  std::vector<Finding> of_elements = disagreements(listeners->watches, rotor.reference.teeth);
  note_choice(choice, listeners->watches, of_elements);
  recording.element_used = choice.used;
  recording.falling = rotor.reference.falling;
  recording.extraction = decided(std::move(extractions), choice);
  if (options.ring) recording.ring = compared_with(*options.ring, recording.extraction, recording.falling);
  if (file != standard_input &&
      std::ranges::all_of(listeners->watches, [](const auto& one) { return one.kept().empty(); })) {
    const auto causes = other_causes(file, plan, rotor, *description);
    if (!causes) return in_file(causes.error(), file);
    of_elements.insert(of_elements.begin(), causes->begin(), causes->end());
  }
  for (const auto& watch : listeners->watches) recording.elements.push_back(watch.name());
  recording.element_pairs = compared(listeners->watches);
  recording.findings = recording_findings(recording.extraction, of_elements, recording.elements[choice.used],
                                          recording.channels);
  note_full_scale(*reader, *description, recording.extraction, plan.reference.size(), choice.used,
                  recording.findings);
  note_shorter_dwells(options.dwells, recording.extraction, recording.findings);
  recording.readings = recorded_readings(rotor, recording.sensors, recording.extraction);
  recording.sweep = recorded_sweep(rotor, recording.sensors, recording.extraction);
  return recording;
}

}  // namespace trimwright

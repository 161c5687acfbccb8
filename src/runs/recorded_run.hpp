#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "known_ring.hpp"
#include "reference/element_agreement.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/reference.hpp"
#include "trimwright/rotor.hpp"

namespace trimwright {

/// Which sensor of the rotor a recorded channel is, and what its samples measure.
struct RecordedSensor {
  std::size_t sensor = 0;
  VibrationUnit recorded;  ///< as a peak amplitude; may be another quantity than the sensor's
};

/// What a recording says of one sensor at one dwell, in the library's conventions.
struct RecordedReading {
  std::size_t dwell = 0;  ///< index into `Extraction::dwells`
  std::size_t sensor = 0;
  double rpm = 0.0;
  double amplitude = 0.0;       ///< peak, in the sensor's unit symbol
  std::optional<Phasor> x;      ///< as `Reading::x`; empty when the reference was not trusted
  std::optional<double> sd;     ///< of `x`, per real component, from the scatter of blocks within the dwell
  bool for_job = true;          ///< may be given to a job; `notes` say why not
  bool amplitude_known = true;  ///< false: the channel was silent or clipped, the amplitude says little
  std::vector<std::string> notes;  ///< what a person should know before relying on it
};

/// One line of a run-up or run-down for one sensor.
struct RecordedSweepPoint {
  std::size_t sensor = 0;
  SpeedTrend trend = SpeedTrend::run_up;
  double rpm = 0.0;
  Phasor x;         ///< as `Reading::x`
  double sd = 0.0;  ///< per real component, from the fits alone
  int blocks = 0;
};

/// Something found out about a recording: its reference, or one of its channels.
struct RecordingFinding {
  std::string kind;  ///< stable name, listed in docs/json.md
  Gravity gravity = Gravity::note;
  std::string what;
  std::string likely_cause;
  std::string look_at;
  std::optional<int> tooth;  ///< counted from the reference tooth (0) in order of passing
};

/// One recording file and all that was made of it.
struct Recording {
  std::string file;
  double sample_rate_hz = 0.0;
  std::vector<std::string> channels;  ///< of the vibration, as the job names them, in the order of `sensors`
  std::vector<RecordedSensor> sensors;
  Extraction extraction;
  std::vector<std::string> elements;             ///< sensing elements as the job names them
  std::size_t element_used = 0;                  ///< whose phase is given
  bool falling = true;                           ///< declared polarity
  std::optional<RingComparison> ring;            ///< beside the known ring, where one was given
  std::vector<ElementComparison> element_pairs;  ///< indices into `elements`
  std::vector<RecordingFinding> findings;        ///< gravest first
  std::vector<RecordedReading> readings;         ///< by dwell, then in the order of `sensors`
  std::vector<RecordedSweepPoint> sweep;         ///< in the order of `sensors`, then as `Extraction::sweep`
};

/// A run's recordings, in the order given.
struct RecordedRun {
  std::string run;
  std::vector<Recording> recordings;
};

/// Part of a channel's samples at its limits above which its amplitudes are not used.
inline constexpr double most_clipped = 1e-3;

/// The dwells of `extraction`, one reading per dwell and sensor.
///
/// A channel recorded in another quantity than its sensor's becomes it by j Omega per derivative at the
/// dwell's speed. Phasors are expected positive outward (`VibrationChannel::turned_over` set for a sensor
/// that is positive inward).
[[nodiscard]] std::vector<RecordedReading> recorded_readings(const Rotor& rotor,
                                                             std::span<const RecordedSensor> sensors,
                                                             const Extraction& extraction);

/// The run-up and run-down table of `extraction`, converted in the same way at each line's speed.
[[nodiscard]] std::vector<RecordedSweepPoint> recorded_sweep(const Rotor& rotor,
                                                             std::span<const RecordedSensor> sensors,
                                                             const Extraction& extraction);

/// Findings on the reference, on the agreement of sensing elements (`disagreements`) and on the channels,
/// gravest first. `elements` and `channels` are the names of `Recording`.
[[nodiscard]] std::vector<RecordingFinding> recording_findings(const Extraction& extraction,
                                                               std::span<const Finding> disagreements,
                                                               const std::string& tooth_channel,
                                                               std::span<const std::string> channels);

/// What a job should hear of the reference with every reading: the first few cautions of a recording.
[[nodiscard]] std::vector<std::string> reference_cautions(const Recording& recording);

/// Whether any reading has a phase.
[[nodiscard]] bool any_phase(const RecordedRun& run);

/// Whether the reference was trusted at any dwell, whatever the vibration channels were like.
[[nodiscard]] bool any_trusted_reference(const RecordedRun& run);

/// Why a run's recordings give no phase: the gravest finding of each, in one sentence or two.
[[nodiscard]] std::string why_no_phase(const RecordedRun& run);

/// One standard deviation of a reading per real component, as a job should weigh it: the sensor's stated
/// repeatability and the scatter within the dwell together (root of the sum of squares). Empty where the
/// sensor states none: the scatter within one dwell alone knows nothing of the next run.
[[nodiscard]] std::optional<double> job_sd(const Sensor& sensor, const RecordedReading& reading);

}  // namespace trimwright

#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "recording.hpp"
#include "reference/dwell.hpp"
#include "runs/recorded_run.hpp"
#include "trimwright/error.hpp"
#include "trimwright/rotor.hpp"

namespace trimwright {

/// Where a channel stands in a recording: a number (1-based, WAV or CSV) or the heading of a CSV column.
struct ChannelPlace {
  int number = 0;  ///< 0: by `heading`
  std::string heading;

  /// "channel 2" or "column 'front'".
  [[nodiscard]] std::string text() const;
};

/// One sensing element of the pickup that faces the ring of teeth.
struct RecordedElement {
  ChannelPlace place;
  std::optional<double> volts_full_scale;  ///< WAV: volts at digital full scale
  double delay_s = 0.0;                    ///< its chain is late by this
  double at_rad = 0.0;                     ///< where it sits, with rotation from where phase is counted
};

/// One vibration channel: which sensor it is, and what its chain does.
struct RecordedVibration {
  ChannelPlace place;
  RecordedSensor sensor;                   ///< and the unit its samples are turned into, peak
  std::optional<double> volts_full_scale;  ///< WAV: volts at digital full scale
  std::optional<double> unit_per_volt;     ///< empty: the samples are numbers in that unit already
  double delay_s = 0.0;
  double phase_shift_rad = 0.0;  ///< lead that the chain adds at every frequency
};

/// What a job says of its recordings: which channel is what, and where readings are wanted.
struct RecordingPlan {
  std::optional<double> sample_rate_hz;    ///< of a CSV recording without a column of times
  std::string time_column;                 ///< CSV: heading of the column of times in seconds
  std::vector<RecordedElement> reference;  ///< the first that can be trusted is used
  std::string ring_file;  ///< the ring as earlier runs knew it, begun by the first run; empty: none
  std::vector<RecordedVibration> vibration;
  double lowest_rpm = 0.0, highest_rpm = 0.0;

  /// How to read `file`: channels in the order elements, then vibration. Errors: a column's heading for a WAV
  /// file, a WAV channel in volts without its full scale.
  [[nodiscard]] Result<RecordingDescription> description(const std::string& file) const;
};

/// "10 s to 40 s", from the beginning of a recording; the end after the beginning.
[[nodiscard]] Result<TimeSpan> parse_time_span(std::string_view text);

/// "100 mV per in/s" or "10 mV per m/s2" as units per volt; the unit as a peak amplitude. A sensor with a
/// display unit takes that unit's own symbol. Negative: the signal is turned over.
struct Sensitivity {
  double unit_per_volt = 0.0;
  VibrationUnit unit;
};
[[nodiscard]] Result<Sensitivity> parse_sensitivity(std::string_view text, const VibrationUnit& sensor_unit);

}  // namespace trimwright

#pragma once

#include <optional>
#include <vector>

#include "trimwright/runs/job.hpp"

namespace trimwright {

/// What speaks against trimming yet. Thresholds are common practice, no published source.
enum class ReadinessConcern {
  below_target,     ///< every reading of the last run meets its target: nothing to gain
  above_limit,      ///< a level of the last run is above its limit
  no_repeat,        ///< no two runs with the same weights: nobody knows how far the rotor repeats
  does_not_repeat,  ///< runs with the same weights differ by more than `steady_part`
  drifts,           ///< the same, in one direction through three runs or more: warming up, or wear
  mostly_other,     ///< less than `once_per_rev_part` of the overall level is once per revolution
  more_than_all,    ///< the once-per-rev amplitude is above the overall level
  scatters_within,  ///< a dwell scatters more than twice the sensor's repeatability: a beat, or loose parts
  no_phase,         ///< once-per-rev amplitudes without phase
  too_small         ///< amplitude below three standard deviations, though above target: phase means little
};

/// Once-per-rev part of the overall amplitude below which unbalance is not the main cause.
inline constexpr double once_per_rev_part = 0.7;
/// Change between runs with the same weights, over their mean amplitude, above which a trim has no firm base.
inline constexpr double steady_part = 0.25;

/// One concern at one speed and sensor, or of the job as a whole.
struct ReadinessFinding {
  ReadinessConcern concern = ReadinessConcern::no_repeat;
  std::optional<std::size_t> speed, sensor;  ///< empty: the whole job
  std::vector<std::size_t> runs;             ///< that show it, in order
  /// Meaning by concern: amplitude over target or limit; change over mean amplitude; share of the overall
  /// level; scatter over repeatability; amplitude over its standard deviation.
  double ratio = 0.0;
  double turn_deg = 0.0;  ///< phase change between the runs, -180 to 180; does_not_repeat and drifts only
};

/// Whether the runs so far are a base to trim on.
struct Readiness {
  std::vector<ReadinessFinding> findings;  ///< by concern, then speed and sensor
  bool overall_read = false;               ///< some overall level stands beside a once-per-rev amplitude
  bool repeated = false;                   ///< some runs had the same weights
  bool scatter_stated = false;             ///< some reading states its own standard deviation

  /// No finding `holds_up` a trim.
  [[nodiscard]] bool ready() const;
  [[nodiscard]] bool has(ReadinessConcern concern) const;
};

/// Runs set aside take no part; "the last run" is the last that was not. Phases are only compared between
/// runs, so it does not matter whether they are lag or lead.
[[nodiscard]] Readiness readiness(const Job& job);

/// Whether a finding asks for something to be looked at or done before a trim (`no_repeat` and `above_limit`
/// only ask for care).
[[nodiscard]] bool holds_up(ReadinessConcern concern);

}  // namespace trimwright

#pragma once

#include <complex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/base/phasor.hpp"
#include "trimwright/rotor/fitted_weights.hpp"
#include "trimwright/rotor/rotor.hpp"

namespace trimwright {

/// A change of the rotor itself known from the shop (a blade exchanged); it holds from its run on.
struct KnownChange {
  std::size_t plane = 0;             ///< the plane it acts in
  std::complex<double> moment_g_mm;  ///< new minus old, rotor angle
  std::string note;
};

/// What a reading contains. Only the once-per-rev component can be balanced on.
enum class Component { once_per_rev, overall };

/// One reading, already in the library's conventions.
struct Reading {
  std::size_t speed = 0;  ///< index into Job::speeds_rpm
  double rpm = 0.0;       ///< as read
  std::size_t sensor = 0;
  Component component = Component::once_per_rev;
  double amplitude = 0.0;  ///< peak, in the sensor's unit symbol
  /// Peak phasor in the sensor's unit, phase of the sensor's own quantity, positive outward. Taken in lag
  /// where the rotor says `unknown` (see `with_phase_convention`). Empty when no phase was read.
  std::optional<Phasor> x;
  /// The unit factor by which the written phase was turned to become that of `x`: quantity and direction.
  Phasor phase_factor = 1.0;
  std::optional<double> repeatability;  ///< of this reading, when stated; else the sensor's
  std::string note;  ///< in the technician's words, or what the recording said of its reference; may be empty
  Location where;    ///< where it was written
};

/// How a run was made, in the technician's words.
struct RunConditions {
  std::string when;
  std::string who;
  std::vector<std::pair<std::string, std::string>> other;  ///< warm-up, dwell, wind, ... in file order
};

/// A reading that was to be taken and was not (a sensor failed).
struct MissingReading {
  double rpm = 0.0;
  std::size_t sensor = 0;
  std::string note;  ///< why, in the technician's words; may be empty
  Location where{};
};

/// One run of the engine: what was fitted and what was read.
struct Run {
  std::string name;
  RunConditions conditions;
  std::vector<FittedWeights> fitted;  ///< one per plane of the rotor
  std::vector<KnownChange> changes;
  std::vector<Reading> readings;
  std::optional<std::string> set_aside;  ///< the reason, when the run must not be used
  std::vector<MissingReading> missing{};
};

/// A speed point and a sensor, with what every reading there is held against. Amplitudes are peak, in the
/// sensor's unit symbol.
struct Place {
  std::size_t speed = 0;   ///< index into Job::speeds_rpm
  std::size_t sensor = 0;  ///< index into Rotor::sensors
  double limit = 0.0;      ///< must not be exceeded
  std::optional<double> target;

  /// What a trim aims at: the target, or the limit where none is set.
  [[nodiscard]] double goal() const { return target.value_or(limit); }
};

/// A speed that people set, as the job file lists it.
struct SetSpeed {
  double rpm = 0.0;
  std::string name;  ///< what they call it; may be empty
  Location where;
};

/// A rotor and the runs made on it, in the order they were made.
struct Job {
  std::string title;
  std::string serial;
  std::string station;
  Rotor rotor;
  std::vector<double> speeds_rpm;                  ///< speed points, rising; see `settle_places`
  std::map<std::size_t, std::string> speed_names;  ///< of those speed points that the job names
  std::vector<Place> places;  ///< one for every speed point and sensor with a reading; see `settle_places`
  std::vector<Run> runs;
  bool small_residual = false;            ///< said: weights in the planes can cancel most of the vibration
  std::vector<FittedWeights> fitted_now;  ///< one per plane: what is on the rotor when the plan is made
};

/// Groups the readings of all runs into speed points, and gives every place its limit and target, once and
/// for all: whoever makes a job calls this before anything is made of its readings.
///
/// A speed of `set` is a point; so is every reading that is not within the rotor's tolerance of one. A point
/// of no name stands at the round speed that all its readings agree with (a whole percent, or a multiple of
/// 50 rpm, where the rotor declares no 100 %), else at its first reading's. A place's limit is that of the
/// point's speed; where that lies just above the sensor's last band and the readings inside, that band's.
/// Errors: a reading within the tolerance of two points; no limit for a reading; more than 500 points.
[[nodiscard]] Result<void> settle_places(Job& job, const std::vector<SetSpeed>& set = {});

/// Throws std::logic_error where `settle_places` was not called or no reading was made there.
[[nodiscard]] const Place& place_of(const Job& job, std::size_t speed, std::size_t sensor);

/// What the next run should read: the places that a run not set aside reads, or was to read, in any
/// component.
[[nodiscard]] std::vector<Place> places_to_run(const Job& job);

/// "idle, 3174 rpm (62 %)", "3174 rpm": a speed point wherever people read of it.
[[nodiscard]] std::string speed_words(const Job& job, std::size_t speed);

/// "front at 3174 rpm (62 %)".
[[nodiscard]] std::string place_words(const Job& job, std::size_t speed, std::size_t sensor);

/// U of every plane in run `run`: total moment plus all known changes up to and including that run [g mm].
[[nodiscard]] std::vector<std::complex<double>> run_unbalance(const Job& job, std::size_t run);

/// U of every plane with `fitted` (one entry per plane) and all known changes [g mm].
[[nodiscard]] std::vector<std::complex<double>> unbalance_with(const Job& job,
                                                               const std::vector<FittedWeights>& fitted);

/// U of every plane as the rotor stands now: `fitted_now` plus all known changes [g mm].
[[nodiscard]] std::vector<std::complex<double>> unbalance_now(const Job& job);

/// The job with every phasor as it is if its phases were written in `convention`. The readings of a job whose
/// rotor says `unknown` are held as if in lag, so `lead` is their mirror (conjugate).
[[nodiscard]] Job with_phase_convention(Job job, PhaseConvention convention);

}  // namespace trimwright

#pragma once

#include <complex>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/base/phasor.hpp"
#include "trimwright/rotor/rotor.hpp"

namespace trimwright {

/// What a slot holds beside its filler: a catalogue weight, or another piece of known moment.
struct Piece {
  std::string weight_id;     ///< empty: not from the catalogue
  double moment_g_mm = 0.0;  ///< taken from the catalogue when `weight_id` is set

  friend bool operator==(const Piece&, const Piece&) = default;
};

/// A moment that sits at an angle and in no slot (clamped, taped, or in a plane without slots).
struct FreePiece {
  double moment_g_mm = 0.0;
  RotorAngle at;
};

/// Everything fitted in one plane. Slots not named hold their filler.
struct FittedWeights {
  std::map<int, Piece> slots;
  std::vector<FreePiece> free;
};

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
  Location where;                       ///< where it was written
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

/// A rotor and the runs made on it, in the order they were made.
struct Job {
  std::string title;
  std::string serial;
  std::string station;
  Rotor rotor;
  std::vector<double> speeds_rpm;  ///< speed points, rising
  std::vector<Run> runs;
  bool small_residual = false;            ///< said: weights in the planes can cancel most of the vibration
  std::vector<FittedWeights> fitted_now;  ///< one per plane: what is on the rotor when the plan is made
};

/// Moment of a weight, filler or other piece in a slot, as the slot then acts [g mm, rotor angle].
[[nodiscard]] std::complex<double> slot_moment(const Plane& plane, int slot,
                                               const std::optional<Piece>& piece);

/// How many pieces of the single catalogue weight `id` are fitted in the plane, those in stacks included.
[[nodiscard]] int pieces_fitted(const Plane& plane, const FittedWeights& fitted, const std::string& id);

/// Total moment of everything the usable slots hold, fillers included, and of free pieces [g mm].
[[nodiscard]] std::complex<double> total_moment(const Plane& plane, const FittedWeights& fitted);

/// U of every plane in run `run`: total moment plus all known changes up to and including that run [g mm].
[[nodiscard]] std::vector<std::complex<double>> run_unbalance(const Job& job, std::size_t run);

/// U of every plane as the rotor stands now: `fitted_now` plus all known changes [g mm].
[[nodiscard]] std::vector<std::complex<double>> unbalance_now(const Job& job);

/// The job with every phasor as it is if its phases were written in `convention`. The readings of a job whose
/// rotor says `unknown` are held as if in lag, so `lead` is their mirror (conjugate).
[[nodiscard]] Job with_phase_convention(Job job, PhaseConvention convention);

}  // namespace trimwright

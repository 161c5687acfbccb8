#pragma once

#include <complex>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/phasor.hpp"
#include "trimwright/rotor.hpp"

namespace trimwright {

/// A change of the rotor itself known from the shop (a blade exchanged); it holds from its run on.
struct KnownChange {
  std::size_t plane = 0;             ///< the plane it acts in
  std::complex<double> moment_g_mm;  ///< new minus old, rotor angle
  std::string note;
};

/// What a reading contains. Only the once-per-rev component can be balanced on.
enum class Component { once_per_rev, overall };
/// "once-per-rev" or "overall".
[[nodiscard]] std::string_view name(Component component);

/// Whether a speed was come to from below or from above.
enum class Approach { unsaid, up, down };

/// What readings at one speed may differ in: places of their own, with a baseline each, that share how the
/// planes act.
struct ReadingState {
  Approach approach = Approach::unsaid;
  std::string name;  ///< of the engine, in the technician's words: "hot", "cold"; may be empty

  [[nodiscard]] bool operator==(const ReadingState&) const = default;
  [[nodiscard]] bool operator<(const ReadingState& other) const {  // texts have no <=> in every library yet
    return approach != other.approach ? approach < other.approach : name < other.name;
  }
};

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
  ReadingState state{};
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
  ReadingState state{};
};

/// What happened to the rotor or the measuring chain between two runs, so that readings before and after it
/// are not of one baseline, or not in one frame. A blade exchanged with known figures is a `KnownChange`.
struct Event {
  enum class Kind {
    reference_moved,  ///< pickup, ring or mounting: all phases of later runs turned by one angle
    delay_changed,    ///< filter or cable: an angle in proportion to speed
    sensor_changed,   ///< transducer, cable or charge converter: one complex ratio
    baseline_new      ///< relubrication, blades reseated: X0 of its own from here, coefficients shared
  };
  Kind kind = Kind::reference_moved;
  std::size_t sensor = 0;  ///< `sensor_changed`: index into Rotor::sensors
  /// As stated; empty: unknown. `reference_moved`: how far later phases lead more [rad]; `delay_changed`: how
  /// much later the signals come [s].
  std::optional<double> by{};
  std::string note{};  ///< in the technician's words
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
  std::vector<Event> before{};  ///< what happened since the run before it
  /// Once-per-rev readings while the speed changed, in the order written: drawn, and never balanced on.
  std::vector<Reading> run_up{};
};

/// A speed point (one for each approach and state read there) and a sensor, with what every reading there is
/// held against. Amplitudes are peak, in the sensor's unit symbol.
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
  /// Speed points, not falling: one for each approach and state read at a speed; see `settle_places`.
  std::vector<double> speeds_rpm;
  std::map<std::size_t, std::string> speed_names;    ///< of those speed points that the job names
  std::map<std::size_t, ReadingState> speed_states;  ///< of those whose readings tell it
  std::vector<Place> places;  ///< one for every speed point and sensor with a reading; see `settle_places`
  std::vector<Run> runs;
  bool small_residual = false;  ///< said: weights in the planes can cancel most of the vibration
  /// Names of the conditions (warm-up, wind, ...) in which all runs must be alike; empty: those of the first
  /// run, roughly.
  std::vector<std::string> conditions_that_matter{};
  bool fitted_now_stated = true;          ///< false: `fitted_now` is taken to be what the last run had
  std::vector<FittedWeights> fitted_now;  ///< one per plane: what is on the rotor when the plan is made
};

/// Groups the readings of all runs into speed points, and gives every place its limit and target, once and
/// for all: whoever makes a job calls this before anything is made of its readings.
///
/// A speed of `set` is a point; so is every reading that is not within the rotor's tolerance of one. A point
/// of no name stands at the round speed that all its readings agree with (a whole percent, or a multiple of
/// 50 rpm, where the rotor declares no 100 %), else at its first reading's. Where the readings of a point
/// differ in approach or state it becomes a point for each, at one speed. A place's limit is that of the
/// point's speed; where that lies just above the sensor's last band and the readings inside, that band's.
/// Errors: a reading within the tolerance of two points; no limit for a reading; more than 500 points.
[[nodiscard]] Result<void> settle_places(Job& job, const std::vector<SetSpeed>& set = {});

/// Throws std::logic_error where `settle_places` was not called or no reading was made there.
[[nodiscard]] const Place& place_of(const Job& job, std::size_t speed, std::size_t sensor);

/// A speed, a sensor and a component to be read.
struct PlaceToRead {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  Component component = Component::once_per_rev;
};

/// What the next run should read: what a run not set aside reads, and once per revolution where one was to
/// read and did not. By speed, then sensor, then component.
[[nodiscard]] std::vector<PlaceToRead> readings_to_make(const Job& job);

/// The places of `readings_to_make`.
[[nodiscard]] std::vector<Place> places_to_run(const Job& job);

/// "on the way up, hot"; empty where nothing is said.
[[nodiscard]] std::string state_words(const ReadingState& state);

/// "idle, 3174 rpm (62 %)", "3174 rpm, on the way up": a speed point wherever people read of it.
[[nodiscard]] std::string speed_words(const Job& job, std::size_t speed);
/// "idle", "62 %", "62 %, up": the same where there is little room.
[[nodiscard]] std::string short_speed_words(const Job& job, std::size_t speed);

/// How the speed of a point was come to.
[[nodiscard]] ReadingState state_at(const Job& job, std::size_t speed);

/// "front at 3174 rpm (62 %)".
[[nodiscard]] std::string place_words(const Job& job, std::size_t speed, std::size_t sensor);

/// U of every plane in run `run`: total moment plus all known changes up to and including that run [g mm].
[[nodiscard]] std::vector<std::complex<double>> run_unbalance(const Job& job, std::size_t run);

/// The known changes of the first `runs` runs, of every plane [g mm].
[[nodiscard]] std::vector<std::complex<double>> known_changes(const Job& job, std::size_t runs);

/// U of every plane with `fitted` (one entry per plane) and all known changes [g mm].
[[nodiscard]] std::vector<std::complex<double>> unbalance_with(const Job& job,
                                                               const std::vector<FittedWeights>& fitted);

/// U of every plane as the rotor stands now: `fitted_now` plus all known changes [g mm].
[[nodiscard]] std::vector<std::complex<double>> unbalance_now(const Job& job);

/// Whether something happened after run `first` and up to run `last` so that their readings do not compare as
/// they are.
[[nodiscard]] bool event_between(const Job& job, std::size_t first, std::size_t last);
/// The same of a new baseline alone.
[[nodiscard]] bool new_baseline_between(const Job& job, std::size_t first, std::size_t last);

/// The job with every phasor as it is if its phases were written in `convention`. The readings of a job whose
/// rotor says `unknown` are held as if in lag, so `lead` is their mirror (conjugate).
[[nodiscard]] Job with_phase_convention(Job job, PhaseConvention convention);

/// A job made in code, one call for each fact. What is wrong with any of them is told by `job`.
///
/// Calls about a run are of the run begun last. A run begins with nothing fitted; what is on the rotor when a
/// plan is made is what the last run had, unless `fitted_now` says otherwise. Names are those given before;
/// amplitudes are in the sensor's unit as shown, phases in degrees in the rotor's convention, angles in
/// degrees with rotation from the reference tooth.
class JobBuilder {
 public:
  /// Readings within 20 rpm belong to one speed.
  JobBuilder(std::string rotor, PhaseConvention phase);
  /// All that a rotor file can say: rotation, what 100 % is, tolerance of speeds, mass, reference ring; with
  /// its planes and sensors, to which more may be added.
  explicit JobBuilder(Rotor rotor);

  JobBuilder& plane(Plane plane);
  /// A plane in which any moment can be made at any angle.
  JobBuilder& plane(std::string name);
  JobBuilder& sensor(Sensor sensor);
  /// `unit` as in a rotor file ("mm/s peak"); phase is of what it measures; one limit at every speed.
  JobBuilder& sensor(std::string name, std::string_view unit, double limit,
                     std::optional<double> target = {});
  JobBuilder& run(std::string name);
  JobBuilder& fit(std::string_view plane, double moment_g_mm, double degrees);
  JobBuilder& fit(std::string_view plane, int slot, std::string_view weight);
  /// Before the run begun last.
  JobBuilder& happened(Event event);
  JobBuilder& read(std::string_view sensor, double rpm, double amplitude, double phase_deg);
  /// The level of all frequencies together, which has no phase.
  JobBuilder& overall(std::string_view sensor, double rpm, double amplitude);
  /// The run is kept and not used; `reason` says why.
  JobBuilder& set_aside(std::string reason);
  /// What is on the rotor when the plan is made is what run `run` had.
  JobBuilder& fitted_now(std::string_view run);

  /// Errors: the first call that was wrong; weights that the rotor cannot hold so; those of `settle_places`;
  /// no run.
  [[nodiscard]] Result<Job> job() const;

 private:
  template <class Named>
  std::size_t checked(std::optional<std::size_t> found, const std::vector<Named>& all, std::string_view name,
                      const char* kind);
  void reject(std::string what, std::string expected);
  /// The reading without its phase, in the run begun last; nothing where it is refused.
  Reading* add_reading(std::string_view sensor, double rpm, double amplitude);

  Job job_;
  std::optional<std::size_t> fitted_now_;  ///< of run
  std::optional<Error> wrong_;
};

/// What speaks against trimming yet. Thresholds are common practice, no published source.
enum class ReadinessConcern {
  no_readings,       ///< no run has any
  to_confirm,        ///< the rotor file lists what is open or only assumed
  above_limit,       ///< a level of the run judged is above its limit
  below_target,      ///< every reading of the run judged meets its target: nothing to gain
  unread_run,        ///< a run has no reading, and others have
  doubled_readings,  ///< the same, and the run before has two readings at each place
  contradicts,       ///< two readings of one run and place differ by more than four standard deviations
  lone_speed,  ///< a sensor was read at a speed in one run only, a digit away from one that this run lacks
  odd_effect,  ///< new weights moved a reading far more than the sensor's readings at the speeds beside it
  no_longer_listed,  ///< a run adds pieces and does not list those of the run as found
  other_conditions,  ///< runs under other conditions, or more than 30 days apart, stand in one job
  went_above_limit,  ///< an earlier run than the one judged had a level above its limit
  trial_weight_in,   ///< what is fitted now is not stated, and the last run was a trial
  not_fitted_now,    ///< what is fitted now is stated, and is not what the last run, no trial, was made with
  no_repeat,         ///< no two runs with the same weights: nobody knows how far the rotor repeats
  nothing_spare,     ///< as many runs as unknowns: no run holds the readings of another to account
  runs_disagree,     ///< all runs together scatter far more than is stated (`compare_newest_run`)
  does_not_repeat,   ///< runs with the same weights differ by more than `steady_part`
  drifts,            ///< the same, in one direction through three runs or more: warming up, or wear
  not_as_foretold,   ///< the newest run is not as the runs before it foretell (`compare_newest_run`)
  mostly_other,      ///< less than `once_per_rev_part` of the overall level is once per revolution
  more_than_all,     ///< the once-per-rev amplitude is above the overall level
  scatters_within,   ///< a dwell scatters more than twice the sensor's repeatability: a beat, or loose parts
  no_phase,          ///< once-per-rev amplitudes without phase
  too_small          ///< amplitude below three standard deviations, though above target: phase means little
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
  /// Meaning by concern: amplitude over target or limit; how many times more, for an odd effect and for runs
  /// that disagree; change over mean amplitude; share of the overall
  /// level; scatter over repeatability; amplitude over its standard deviation.
  double ratio = 0.0;
  double turn_deg = 0.0;  ///< phase change between the runs, -180 to 180; does_not_repeat and drifts only
  std::string what{};     ///< pieces, speeds: what it is about, in words
};

/// Whether the runs so far are a base to trim on.
struct Readiness {
  std::vector<ReadinessFinding> findings;  ///< by concern, then speed and sensor
  bool overall_read = false;               ///< some overall level stands beside a once-per-rev amplitude
  bool repeated = false;                   ///< some runs had the same weights
  bool scatter_stated = false;             ///< some reading states its own standard deviation
  std::optional<std::size_t> judged{};     ///< the last run with what is fitted now; empty: none was made

  /// No finding `holds_up` a trim.
  [[nodiscard]] bool ready() const;
  [[nodiscard]] bool has(ReadinessConcern concern) const;
};

/// Runs set aside take no part. Levels are those of the last run made with what is fitted now; where there is
/// none, above their limit those of the last run, and nothing is said of targets. Phases are only compared
/// between runs, so it does not matter whether they are lag or lead.
[[nodiscard]] Readiness readiness(const Job& job);

/// Whether a finding asks for something to be looked at or done before a trim (the others only ask for care).
[[nodiscard]] bool holds_up(ReadinessConcern concern);

/// What was found, in one sentence, with speed, sensor and runs.
[[nodiscard]] std::string finding_words(const Job& job, const ReadinessFinding& finding);

/// What to look at or do first. Empty where there is nothing.
[[nodiscard]] std::string what_to_do(ReadinessConcern concern);

/// The answer in one sentence.
[[nodiscard]] std::string answer_words(const Readiness& readiness);

}  // namespace trimwright

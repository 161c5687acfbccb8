#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"
#include "virtual_rotor/equations.hpp"
#include "virtual_rotor/tooth_ring.hpp"
#include "virtual_rotor/virtual_run.hpp"

namespace trimwright {

/// The pickup's first sensing element as it is recorded.
struct PickupState {
  double gap_mm = 1.0;
  virtual_rotor::Debris debris;
};

/// What the day brings: how much runs differ, and what is to be found out.
enum class RehearsalDay { calm, on_wing, slip, loose_reference };

/// A mistake made in a run and told by nobody.
struct PlantedSlip {
  std::string what;                          ///< "spinner slot 5: K3 sat in slot 6"
  std::vector<FittedWeights> fitted;         ///< really, one per plane
  std::optional<std::size_t> turned_over{};  ///< a sensor
};

/// A folder to rehearse a trim in: rotor.yaml and job.yaml as for any rotor, and rehearsal.yaml, which holds
/// the seed, the scatter of runs and the state of the pickup. The virtual rotor follows from the seed; its
/// unbalance is written nowhere.
struct Rehearsal {
  std::string folder;
  std::uint64_t seed = 0;
  virtual_rotor::RunScatter scatter;
  double reference_play_deg = 0.0;  ///< one standard deviation: all phases of a run are turned by it
  bool stops_at_limits = false;     ///< and the as-found unbalance leaves every level below its limit
  bool slip = false;                ///< one is made somewhere
  PickupState pickup;
  Rotor rotor;                          ///< as rotor.yaml says: conventions, slots, sensors
  virtual_rotor::AssembledRotor truth;  ///< planes and sensors in the order of `rotor`'s

  /// Path of a file of the folder.
  [[nodiscard]] std::string file(const std::string& name) const;
};

/// A new folder with rotor.yaml and rehearsal.yaml. job.yaml comes with the first run, because a job without
/// a run is none. Errors: a rehearsal is there already, a folder that cannot be written.
[[nodiscard]] Result<void> create_rehearsal(const std::string& folder, std::uint64_t seed,
                                            RehearsalDay day = RehearsalDay::calm);

/// Errors: those of the two files; a rotor file whose planes or sensors are not the virtual rotor's, or
/// whose sensors do not show a motion.
[[nodiscard]] Result<Rehearsal> read_rehearsal(const std::string& folder);

/// The job so far, its tables of readings left out; before the first run only the rotor, with nothing fitted.
[[nodiscard]] Result<Job> rehearsal_job(const Rehearsal& rehearsal);

/// What a person does to the rotor before a run, in this order.
struct RefitRequest {
  std::string like;                   ///< begin with what was fitted in this run; empty: as fitted now
  std::string plan;                   ///< carry out this `plan 1` or `trial 1` document; empty: none
  std::vector<std::string> take_out;  ///< "spinner 3"
  std::vector<std::string> fit;       ///< "spinner 3=K3" or "spinner 3=780 g.mm"
};

/// What is fitted in every plane afterwards. Errors: no such run, plane, slot or weight; a slot that does not
/// hold what is to be taken out, or is not free; more pieces than the stock; a plan of another rotor; a
/// moment by hand more than ten times that of the heaviest weight.
[[nodiscard]] Result<std::vector<FittedWeights>> refitted(const Job& job, const RefitRequest& request);

/// The speeds of every virtual run, in percent of full speed.
inline constexpr double rehearsal_speeds_percent[] = {55.0, 65.0, 76.0, 87.0, 96.0};

/// Slots whose content the trim of a new rehearsal may change.
inline constexpr int rehearsal_changes = 6;

/// What `X` of a virtual sensor, in mm, mm/s or mm/s^2 peak, is in the sensor's own unit, peak.
[[nodiscard]] Phasor in_sensor_unit(const Sensor& sensor, virtual_rotor::Quantity quantity, Phasor x,
                                    double rpm);

/// How the next run is made and written.
struct RehearsalRun {
  std::string name;                   ///< letters, digits, blanks, - and _; blanks become - in file names
  std::vector<FittedWeights> fitted;  ///< one per plane, in full
  bool readings_only = false;         ///< a table of readings instead of a recording
  std::function<void(double)> progress{};  ///< told the part of the recording written; may be empty
};

/// The files of a run that was made.
struct MadeRun {
  std::string made;       ///< the recording (WAV) or the table of readings (CSV)
  std::string readings;   ///< the table that the job names for it; for a recording it is yet to be made
  std::string stopped{};  ///< where and why it was stopped; empty: it was not
};

/// Runs the virtual rotor, writes NAME.wav or NAME.csv and then job.yaml, each whole or not at all, with the
/// run added to those before it. What else a person wrote into job.yaml stays, but for comments and
/// `fitted_now`, which the run replaces. Where runs stop at limits the speeds from the first on at which a
/// level passes its limit are not made. Errors: a name that is taken or cannot be a file's, a file of that
/// name, a file that cannot be written; a level above its limit at the lowest speed.
[[nodiscard]] Result<MadeRun> make_run(const Rehearsal& rehearsal, const Job& job, const RehearsalRun& run);

/// What the rotor really was.
struct RehearsalTruth {
  Job job;               ///< the rotor, the five speeds, and noiseless runs that show it whole
  InfluenceModel model;  ///< the true coefficients
  std::vector<virtual_rotor::HiddenUnbalance> hidden;
  /// The moments in the planes that act most like the hidden unbalance: least squares of amplitude over limit
  /// over all speeds and sensors [g mm].
  std::vector<std::complex<double>> equivalent;
  std::vector<FittedWeights> fitted;         ///< now
  std::vector<std::complex<double>> moment;  ///< now, total per plane [g mm]
  TrimPlan best;                   ///< from what was fitted in the first run, `rehearsal_changes` at most
  std::vector<Prediction> levels;  ///< true levels: before, in the first run; after, now
  std::string slip;                ///< the run and what went wrong in it; empty: nothing has
};

[[nodiscard]] Result<RehearsalTruth> rehearsal_truth(const Rehearsal& rehearsal, const Job& job);

/// The truth for a terminal, and as the `truth 1` document (docs/rehearsal.md).
[[nodiscard]] std::string truth_text(const RehearsalTruth& truth);
[[nodiscard]] std::string truth_json(const RehearsalTruth& truth);

}  // namespace trimwright

#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// What differs between two runs of a rotor nobody touched, beside the readings' stated repeatability. Each
/// is one standard deviation per real component. The figures are our own: common practice knows that runs
/// differ by about so much, no published source. A sensor's own `run_to_run`, where the rotor file states it,
/// takes the place of `seating` and `of_run` for its readings, and its `proportional` that of `of_reading`.
struct RunToRun {
  double seating = 0.005;  ///< of every plane's moment, as a share of its heaviest weight: blades seat anew
  double of_run = 0.005;   ///< of all amplitudes of a run together: thermal state
  double of_reading = 0.003;  ///< of each reading on its own
};

/// Why nothing can be foretold of run `run` by `model` (fitted from the runs before it); empty when something
/// can.
[[nodiscard]] std::string why_not_foretold(const Job& job, const InfluenceModel& model, std::size_t run);

/// What may have gone wrong in a run, the check run or one before it.
enum class MistakeKind {
  nothing,            ///< as predicted
  mirrored,           ///< weights fitted with the slots counted the wrong way round
  shifted,            ///< weights all fitted some slots further on
  opposite,           ///< weights fitted 180 degrees off
  missing,            ///< one weight not fitted
  swapped,            ///< two weights exchanged
  wrong_size,         ///< one weight of another size
  left_in,            ///< a weight of an earlier run not taken out
  wrong_plane,        ///< weights fitted in another plane
  phase_sense,        ///< phase read as lead for lag, or lag for lead
  polarity,           ///< a sensor turned over
  sensors_exchanged,  ///< two sensors exchanged
  reference_shifted,  ///< the reference teeth miscounted, or its polarity reversed: one angle at all speeds
  time_delay,         ///< a delay: an angle in proportion to speed
  sensor_changed,     ///< one sensor reads another complex ratio
  unit,               ///< unit or detector mistaken
  mistyped,           ///< one reading mistyped or misread
  speed,              ///< the readings of two speeds exchanged
  runs_exchanged,     ///< the readings of two runs exchanged
  phase_sense_everywhere,  ///< one sensor's phase read as lead for lag in every run
  rotor_changed,           ///< the rotor itself changed between runs
  none_of_these
};

/// Every kind, in the order above.
[[nodiscard]] const std::vector<MistakeKind>& mistake_kinds();

/// Whether a kind says what went wrong, unlike `nothing` and `none_of_these`.
[[nodiscard]] bool names_a_cause(MistakeKind kind);

/// A kind of mistake in a run and how well it explains the readings.
struct RankedMistake {
  MistakeKind kind = MistakeKind::nothing;
  std::optional<std::size_t> run;  ///< empty: nothing wrong, or every run
  std::string what;                ///< its likeliest form
  double probability = 0.0;        ///< posterior, of the kind in this run
  double log_evidence = 0.0;       ///< natural logarithm of the readings' probability density under it
  double misfit = 0.0;             ///< chi-squared of the readings it is about under the likeliest form
  std::string undone;              ///< what undoing it would predict, in a sentence; of those not told apart
  bool fits = true;                ///< it explains most of what the readings are off
  /// Mistakes of one number foretell the check run alike, so that no reading of it could tell them apart: one
  /// answer. 0 is the likeliest, its members' probabilities added.
  std::size_t answer = 0;
};
/// 'run "trial": spinner slot 4: K3 is missing'.
[[nodiscard]] std::string mistake_words(const Job& job, const RankedMistake& one);

/// Probability of a sound run's chi-squared below which a run is not as predicted.
inline constexpr double as_predicted_level = 0.01;

struct MistakeRanking {
  std::vector<RankedMistake> kinds;  ///< by answer, the most probable first, and in each the most probable
  /// Entries of `kinds`, from the first, that the readings do not tell apart from the first.
  std::size_t not_told_apart = 0;
  double chi_squared = 0.0;    ///< reading minus expected of the check run, over their covariance
  int degrees_of_freedom = 0;  ///< two per reading
  double probability = 1.0;    ///< of a sound run's chi-squared as large
  bool runs_agree = true;      ///< the runs before it, by what is stated of their scatter
  /// Runs of which nothing can be said: without them the others are as many as the unknowns, or fewer.
  std::vector<std::size_t> not_examined;
  bool cut_short = false;  ///< the deadline came before every kind of mistake in every run was weighed

  /// The one rule: `probability` is not below `as_predicted_level`; and where the runs before contradict one
  /// another, so that their widened scatter would let anything pass, no mistake explains why. That a mistake
  /// is likelier does not count: a run after a good trim reads closer to nothing than runs alone foretell, as
  /// one in too large a unit does.
  [[nodiscard]] bool as_predicted() const {
    const bool explained = !kinds.empty() && names_a_cause(kinds.front().kind);
    return probability >= as_predicted_level && (runs_agree || !explained);
  }
  /// Not as predicted, and what went wrong is likelier than that nothing considered here did.
  [[nodiscard]] bool cause_known() const {
    return !as_predicted() && !kinds.empty() && names_a_cause(kinds.front().kind);
  }
};

/// So many usable readings of the check run and those before it are compared with each other; of more, what
/// may have gone wrong is not looked into.
inline constexpr std::size_t most_readings_compared = 1500;
/// Prior probability that nothing is wrong; the rest is shared alike among the kinds that are possible.
inline constexpr double prior_of_nothing_wrong = 0.85;
/// Kinds whose odds against the likeliest are shorter than this are not told apart from it.
inline constexpr double telling_odds = 20.0;

/// How many times the assumed scatter the true one may be (without a mistake each as likely, with one the
/// first by far). Never less: a run after a good trim reads closer to nothing than the model can foresee, and
/// a calmer scatter would take that for a mistake. Never much more: at four times it a wrong explanation far
/// off passes for a right one.
inline constexpr double scatter_scales[] = {1.0, 1.5, 2.0};

/// Of check run `run` and the runs before it, from which `model` was fitted (`prior`: with this). Posterior
/// odds of the kinds, by the scatter that is stated where the runs do not agree: each the mean density of all
/// readings over its forms (circular complex Gaussian, over `scatter_scales`, baselines and coefficients
/// integrated out), times its prior probability. H. Jeffreys, Theory of Probability (1939), chapter V.
/// Chi-squared is of the check run as written, its covariance that of the forecast and, where run-to-run
/// change is neither stated nor estimated, what `scatter` assumes; where noise is estimated, Fisher's F.
/// Empty where nothing is foretold, or of more than `most_readings_compared`. The check run is weighed first,
/// then those before it, until the deadline.
[[nodiscard]] MistakeRanking rank_mistakes(const Job& job, const InfluenceModel& model, std::size_t run,
                                           const RunToRun& scatter = {}, const Prior* prior = nullptr,
                                           Deadline deadline = Deadline::never());

/// Adds to `readiness` that the newest run with readings is not as the runs before it foretell, where it is
/// not, and what explains that: compared with the model of the runs before it, or with those of the same
/// weights where these settle none; else, that all runs together do not agree. Nothing is added where no
/// repeatability is known or an event is written before the run.
void compare_newest_run(const Job& job, Readiness& readiness, const Prior* prior = nullptr,
                        Deadline deadline = Deadline::never());

/// Stable name: "weights_mirrored", ...
[[nodiscard]] std::string mistake_name(MistakeKind kind);
/// What to look at when this is the likeliest; of a run before the check run its weights are no longer in.
[[nodiscard]] std::string mistake_remedy(MistakeKind kind, bool of_check_run = true);
/// Those that the readings do not tell from the first, in words: "A; or B, or, what reads the same, C".
[[nodiscard]] std::string likeliest_words(const Job& job, const MistakeRanking& ranking);

/// Entries of `kinds` to show a person: those not told apart, more of the likeliest six from 1 % on, and that
/// nothing is wrong.
[[nodiscard]] std::vector<std::size_t> shown_mistakes(const MistakeRanking& ranking);

/// One reading of the check run beside what it should be. Amplitudes are peak, in the sensor's unit symbol.
struct CheckedReading {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  Component component = Component::once_per_rev;
  std::optional<double> first;  ///< amplitude as found in this visit
  double amplitude = 0.0;
  std::optional<Phasor> x;
  std::optional<Phasor> expected;
  std::optional<double> expected_sd;  ///< per real component of reading minus expected, all scatter included
  /// Prediction::differs_by, and more where the reading was made off its set speed.
  std::optional<double> differs_by;
  double limit = 0.0;
  std::optional<double> target;

  [[nodiscard]] double goal() const { return target.value_or(limit); }
  [[nodiscard]] bool above_limit() const { return amplitude > limit; }
  [[nodiscard]] bool above_target() const { return target && amplitude > *target; }
  /// |reading - expected|; empty where nothing is expected.
  [[nodiscard]] std::optional<double> away() const;
  /// The same over its standard deviation per real component.
  [[nodiscard]] std::optional<double> off_by_sd() const;
  [[nodiscard]] bool differs() const { return differs_by && *away() > *differs_by; }
};

/// Share of a target that a sound reading may lie off what is expected, above which "as predicted" says
/// little (our own figure).
inline constexpr double loose_prediction = 0.5;

enum class Outcome { accepted, accepted_not_as_predicted, not_accepted };

enum class Advice {
  done,            ///< limits and targets are met: no further trim
  look_first,      ///< a mistake is likely, or weights may not be fitted by the runs (`Trust`): find out why
  read_again,      ///< readings are missing
  trim_again,      ///< above a limit, and a trim is expected to help
  may_trim_again,  ///< limits are met, targets not, and a trim is expected to help
  stop_no_gain,    ///< no further trim is expected to help
  stop_other_source,  ///< an overall level is above its limit, and the once-per-rev part meets its targets
  stop_not_unbalance  ///< not as predicted, and nothing considered says why
};

/// The verdict on a check run.
struct Verdict {
  std::size_t run = 0;  ///< the check run, index into Job::runs
  Outcome outcome = Outcome::not_accepted;
  std::vector<CheckedReading> readings;
  std::vector<PlaceToRead>
      missing;                ///< what the runs before asked of it (`readings_to_make`), and it did not read
  MistakeRanking mistakes;    ///< empty when nothing was predicted, or there is too much to compare
  std::string not_predicted;  ///< why nothing was predicted; else empty
  std::string left_open;      ///< why what may have gone wrong was not looked into, or not whole; else empty
  double worst_ratio = 0.0;   ///< largest once-per-rev amplitude read, over its limit
  Advice advice = Advice::done;
  std::optional<InfluenceModel> refined;  ///< with the check run as one more run, unless a mistake is likely
  std::optional<TrimPlan> next;           ///< from `refined`, where it was worth asking

  /// Some reading, of whatever component, is above its limit.
  [[nodiscard]] bool above_limit() const {
    return std::any_of(readings.begin(), readings.end(), [](const auto& one) { return one.above_limit(); });
  }
};

/// Which run is checked: the one named, or the last. Errors: no such run, no run before it, set aside, no
/// readings.
[[nodiscard]] Result<std::size_t> find_check_run(const Job& job, const std::string& name = {});

/// Why run `run` looks like a trial run and not like the check run of a finished trim: its name says so; it
/// is the first to change the weights in some plane, unless a `prior` tells how that plane acts. Empty:
/// nothing says so.
[[nodiscard]] std::string trial_signs(const Job& job, std::size_t run, bool prior = false);

/// Whether run `run` is the last one and `fitted_now` has other weights than it was made with.
[[nodiscard]] bool taken_out_again(const Job& job, std::size_t run);

/// The job as it stood before run `run`, fitted as in that run.
[[nodiscard]] Job job_before(const Job& job, std::size_t run);

/// The runs up to and including `run`, as the rotor stands after it: `fitted_now` where it is the last run.
[[nodiscard]] Job job_after(const Job& job, std::size_t run);

/// Judges run `run` of `job`: limits and targets, the prediction of `model` (fitted from `job_before`, of the
/// job `with_events_undone` at the run), what may have gone wrong, and whether another trim is worth it.
/// `job` with its phase convention settled.
///
/// Not accepted: a reading of any component above its limit, or one missing that the runs before ask for.
/// Accepted but not as predicted: below all limits, but chi-squared rejects what was foretold
/// (`MistakeRanking::as_predicted`); no trim is then planned on the run.
/// A reading above its target does not change the verdict. Errors: those of the trim's planning.
[[nodiscard]] Result<Verdict> judge(const Job& job, const InfluenceModel& model, std::size_t run,
                                    const TrimRequest& request, const RunToRun& scatter = {},
                                    const Prior* prior = nullptr);

/// As `judge`, without advice and next trim: outcome, readings beside what they should be, likely mistakes,
/// and the refined model. Half of the time that `request` leaves goes to the mistakes.
[[nodiscard]] Verdict verdict_on(const Job& job, const InfluenceModel& model, std::size_t run,
                                 const TrimRequest& request, const RunToRun& scatter = {},
                                 const Prior* prior = nullptr);

/// The job with its convention settled, the model of the runs before the check run, and the verdict.
struct JudgedJob {
  Job job;
  InfluenceModel model;
  Verdict verdict;
};

/// From the job as read to the verdict. `run` empty: the last run. `prior`: the fleet's, where the job names
/// one; the runs before may then be a baseline alone. Errors: those of `find_check_run`, of
/// `settle_and_fit` on the runs before, and of `judge`; `trial_signs` of a run that is not named; the rotor's
/// `to_confirm` is not empty.
[[nodiscard]] Result<JudgedJob> judge_job(const Job& job, const TrimRequest& request,
                                          const std::string& run = {}, const Prior* prior = nullptr);

[[nodiscard]] std::string outcome_name(Outcome outcome);
[[nodiscard]] std::string advice_name(Advice advice);
/// How loosely a run that is as predicted was foretold: usual `differs_by` of its readings, over the target
/// (limit where none is set). Empty where nothing was predicted, the run is not as predicted, or it is at
/// most `loose_prediction`.
[[nodiscard]] std::optional<double> looseness(const Verdict& verdict);
/// "NOT ACCEPTED: 1 reading is above its limit.": the verdict in a sentence.
[[nodiscard]] std::string verdict_words(const Verdict& verdict);
/// "✓ below target", "▲ above target", "✕ ABOVE LIMIT"; "✓ below limit" where no target is set.
[[nodiscard]] std::string level_words(double amplitude, double limit, const std::optional<double>& target);
/// The same for a reading of the check run, and that it differs from what was expected.
[[nodiscard]] std::string row_words(const CheckedReading& one);
/// In place of a reading that is missing, and of its result.
inline constexpr const char *not_read = "not read", *missing_result = "✕ MISSING";
/// "front at 62 %, overall level": what was to be read.
[[nodiscard]] std::string missing_words(const Job& job, const PlaceToRead& one);
/// What was read, as amplitude and phase are shown: the amplitude as it was written, beside the limit alike.
[[nodiscard]] ShownReading as_read(const Sensor& sensor, const CheckedReading& one,
                                   PhaseConvention convention);
/// One sentence on all that is expected beside limits and targets, and how many places nothing predicts.
[[nodiscard]] std::string expected_words(const std::vector<Prediction>& predictions,
                                         std::size_t not_predicted);
/// What to do next, in sentences; defers to the manual.
[[nodiscard]] std::vector<std::string> advice_words(const Job& job, const Verdict& verdict);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>

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

/// One speed and sensor that the check run read and the model predicts.
struct CheckRow {
  std::size_t row = 0;        ///< entry of InfluenceModel::rows
  Phasor read;                ///< mean of the run's readings
  Phasor phase_factor = 1.0;  ///< as Reading::phase_factor
  double reading_sd = 0.0;    ///< of `read` per real component
  double speed_effect = 0.0;  ///< what being read off its speed point may have changed it by
};

/// The check run's readings beside the model fitted from the runs before it.
struct CheckRows {
  std::size_t run = 0;  ///< the check run, index into Job::runs
  std::vector<CheckRow> rows;
  Eigen::VectorXcd unbalance;  ///< U of the check run, per entry of InfluenceModel::planes [g mm]
  std::string why_not;         ///< why nothing can be predicted; empty when something can

  [[nodiscard]] Eigen::VectorXcd read() const;
};

/// `model` fitted from runs before `run`. Rows without a phase, without a known reading noise, or told in
/// `left_out` (of a fit that includes the check run) are not compared.
[[nodiscard]] CheckRows check_rows(const Job& job, const InfluenceModel& model, std::size_t run,
                                   const std::vector<LeftOut>& left_out);

/// x(U) of every row.
[[nodiscard]] Eigen::VectorXcd expected_readings(const InfluenceModel& model, const CheckRows& rows,
                                                 const Eigen::VectorXcd& unbalance);

/// Covariance per real component (Hermitian, rows x rows) of reading minus x(U), in two parts.
struct DifferenceCovariance {
  Eigen::MatrixXcd scatter;   ///< of readings and runs: as stated or assumed
  Eigen::MatrixXcd believed;  ///< of x(U) by the model's posterior; 0 where the rows are least squares

  [[nodiscard]] Eigen::MatrixXcd sum() const { return scatter + believed; }
};

///
/// With w the weights that the regression gives the earlier readings, d = e_check - sum_k w_k e_k, where an
/// e is noise of its own (stated repeatability, `of_reading` times the amplitude,
/// what being read off its speed point may change) plus what its run shares:
/// C u with u the seating of each plane, and g x with g the gain of the run; or, for a sensor with a stated
/// `run_to_run`, one complex quantity common to its readings. So readings of one run are
/// correlated, and a prediction far from the earlier runs is less certain. Where the model's rows are the
/// mean of its posterior (a prior, or a small residual), what is stated of the earlier runs is in `believed`.
[[nodiscard]] DifferenceCovariance difference_covariance(const Job& job, const InfluenceModel& model,
                                                         const CheckRows& rows,
                                                         const Eigen::VectorXcd& unbalance,
                                                         const RunToRun& scatter);

/// What may have gone wrong between a plan and its check run.
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
  unit,               ///< unit or detector mistaken
  rotor_changed,      ///< the rotor itself changed between runs
  none_of_these
};

/// Every kind, in the order above.
[[nodiscard]] const std::vector<MistakeKind>& mistake_kinds();

/// One way in which the check run may have come about.
struct Hypothesis {
  MistakeKind kind = MistakeKind::nothing;
  std::string what;            ///< "spinner slot 4: K3 is missing"
  double share = 1.0;          ///< of its kind's prior probability; those of a kind add up to 1
  Eigen::VectorXcd unbalance;  ///< U that was really fitted, per entry of InfluenceModel::planes [g mm]
  Eigen::VectorXcd readings;   ///< the check run's readings with the mistake undone
  double log_volume = 0.0;     ///< log |d readings / d read|
  Eigen::VectorXd row_scale;   ///< times the usual scatter of each of `readings`; empty: 1
  Eigen::VectorXd moment_sd;   ///< unknown moment per plane [g mm per real component]; empty: none
  double gain_sd = 0.0;        ///< unknown common gain
  Eigen::VectorXd noise_sd;    ///< unknown, each row on its own; empty: none
};

/// All ways considered for this run. `before` is the run made just before the check run, whose weights tell
/// what was newly fitted; pieces of any earlier run may have been left in.
[[nodiscard]] std::vector<Hypothesis> hypotheses(const Job& job, const InfluenceModel& model,
                                                 const CheckRows& rows);

/// A kind of mistake and how well it explains the readings.
struct RankedMistake {
  MistakeKind kind = MistakeKind::nothing;
  std::string what;           ///< its likeliest form
  double probability = 0.0;   ///< posterior, of the kind
  double log_evidence = 0.0;  ///< natural logarithm of the readings' probability density under the kind
  double misfit = 0.0;        ///< chi-squared of the readings under the likeliest form
};

struct MistakeRanking {
  std::vector<RankedMistake> kinds;  ///< most probable first
  /// Entries of `kinds`, from the first, that the readings do not tell apart from the first.
  std::size_t not_told_apart = 0;
  int degrees_of_freedom = 0;  ///< of every `misfit`: two per reading

  [[nodiscard]] bool as_predicted() const {
    return !kinds.empty() && kinds.front().kind == MistakeKind::nothing;
  }
};

/// Prior probability that nothing is wrong; the rest is shared alike among the kinds that are possible.
inline constexpr double prior_of_nothing_wrong = 0.85;
/// Kinds whose odds against the likeliest are shorter than this are not told apart from it.
inline constexpr double telling_odds = 20.0;

/// How many times the assumed scatter the true one may be, each as likely. Never less: a run after a good
/// trim reads closer to nothing than the model can foresee, and a calmer scatter would take that for a
/// mistake.
inline constexpr double scatter_scales[] = {1.0, 2.0, 4.0};

/// Posterior odds of the kinds: each the mean density of the readings over its forms (circular complex
/// Gaussian, covariance of `difference_covariance` at the unbalance supposed, over `scatter_scales`), times
/// its prior probability. H. Jeffreys, Theory of Probability (1939), chapter V. Empty without rows to
/// compare.
[[nodiscard]] MistakeRanking rank_mistakes(const Job& job, const InfluenceModel& model, const CheckRows& rows,
                                           const RunToRun& scatter = {});

/// Stable name: "weights_mirrored", ...
[[nodiscard]] std::string mistake_name(MistakeKind kind);
/// What to look at when this is the likeliest.
[[nodiscard]] std::string mistake_remedy(MistakeKind kind);

/// One reading of the check run beside what it should be. Amplitudes are peak, in the sensor's unit symbol.
struct CheckedReading {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  Component component = Component::once_per_rev;
  std::optional<double> first;  ///< amplitude in the first run that has this reading
  double amplitude = 0.0;
  std::optional<Phasor> x;
  std::optional<Phasor> expected;
  std::optional<double> expected_sd;  ///< per real component of reading minus expected, all scatter included
  /// Prediction::differs_by, and more where the reading was made off its set speed.
  std::optional<double> differs_by;
  double limit = 0.0;
  std::optional<double> target;

  [[nodiscard]] bool above_limit() const { return amplitude > limit; }
  [[nodiscard]] bool above_target() const { return target && amplitude > *target; }
  /// |reading - expected|; empty where nothing is expected.
  [[nodiscard]] std::optional<double> away() const;
  /// The same over its standard deviation per real component.
  [[nodiscard]] std::optional<double> off_by_sd() const;
  [[nodiscard]] bool differs() const { return differs_by && *away() > *differs_by; }
};

/// A speed and sensor that an earlier run read and the check run did not.
struct UnreadPlace {
  std::size_t speed = 0;
  std::size_t sensor = 0;
};

enum class Outcome { accepted, accepted_not_as_predicted, not_accepted };

enum class Advice {
  done,               ///< limits and targets are met: no further trim
  look_first,         ///< a mistake is likely: find it before anything is fitted
  read_again,         ///< readings are missing
  trim_again,         ///< above a limit, and a trim is expected to help
  may_trim_again,     ///< limits are met, targets not, and a trim is expected to help
  stop_no_gain,       ///< no further trim is expected to help
  stop_not_unbalance  ///< unbalance in these planes does not explain the readings
};

/// The verdict on a check run.
struct Verdict {
  std::size_t run = 0;  ///< the check run, index into Job::runs
  Outcome outcome = Outcome::not_accepted;
  std::vector<CheckedReading> readings;
  std::vector<UnreadPlace> missing;
  MistakeRanking mistakes;    ///< empty when nothing was predicted
  std::string not_predicted;  ///< why nothing was predicted; else empty
  double worst_ratio = 0.0;   ///< largest once-per-rev amplitude read, over its limit
  Advice advice = Advice::done;
  std::optional<InfluenceModel> refined;  ///< with the check run as one more run, unless a mistake is likely
  std::optional<TrimPlan> next;           ///< from `refined`, where it was worth asking
};

/// Which run is checked: the one named, or the last. Errors: no such run, no run before it, set aside, no
/// readings.
[[nodiscard]] Result<std::size_t> find_check_run(const Job& job, const std::string& name = {});

/// Why run `run` looks like a trial run and not like the check run of a finished trim: its name says so; it
/// is the first to change the weights in some plane, unless a `prior` tells how that plane acts; or it is the
/// last run and `fitted_now` has other weights. Empty: nothing says so.
[[nodiscard]] std::string trial_signs(const Job& job, std::size_t run, bool prior = false);

/// The job as it stood before run `run`, fitted as in that run.
[[nodiscard]] Job job_before(const Job& job, std::size_t run);

/// The runs up to and including `run`, as the rotor stands after it: `fitted_now` where it is the last run.
[[nodiscard]] Job job_after(const Job& job, std::size_t run);

/// Judges run `run` of `job`: limits and targets, the prediction of `model` (fitted from `job_before`), what
/// may have gone wrong, and whether another trim is worth it. `job` with its phase convention settled.
///
/// Not accepted: a reading of any component above its limit, or one missing that an earlier run has.
/// Accepted but not as predicted: below all limits, but something other than "nothing wrong" is likeliest.
/// A reading above its target does not change the verdict. Errors: those of the trim's planning.
[[nodiscard]] Result<Verdict> judge(const Job& job, const InfluenceModel& model, std::size_t run,
                                    const TrimRequest& request, const RunToRun& scatter = {},
                                    const Prior* prior = nullptr);

/// As `judge`, without advice and next trim: outcome, readings beside what they should be, likely mistakes,
/// and the refined model.
[[nodiscard]] Verdict verdict_on(const Job& job, const InfluenceModel& model, std::size_t run,
                                 const std::vector<std::size_t>& planes, const RunToRun& scatter = {},
                                 const Prior* prior = nullptr);

/// The job with its convention settled, the model of the runs before the check run, and the verdict.
struct JudgedJob {
  Job job;
  InfluenceModel model;
  Verdict verdict;
};

/// From the job as read to the verdict. `run` empty: the last run. `prior`: the fleet's, where the job names
/// one; the runs before may then be a baseline alone. Errors: those of `find_check_run`, of
/// `settle_and_fit` on the runs before, and of `judge`.
[[nodiscard]] Result<JudgedJob> judge_job(const Job& job, const TrimRequest& request,
                                          const std::string& run = {}, const Prior* prior = nullptr);

[[nodiscard]] std::string outcome_name(Outcome outcome);
[[nodiscard]] std::string advice_name(Advice advice);
/// "NOT ACCEPTED: 1 reading is above its limit.": the verdict in a sentence.
[[nodiscard]] std::string verdict_words(const Verdict& verdict);
/// "✓ below target", "▲ above target", "✕ ABOVE LIMIT"; "✓ below limit" where no target is set.
[[nodiscard]] std::string level_words(double amplitude, double limit, const std::optional<double>& target);
/// The same for a reading of the check run, and that it differs from what was expected.
[[nodiscard]] std::string row_words(const CheckedReading& one);
/// What was read, as amplitude and phase are shown: the amplitude as it was written, beside the limit alike.
[[nodiscard]] std::string read_words(const Sensor& sensor, const CheckedReading& one,
                                     PhaseConvention convention);
/// One sentence on all that is expected beside limits and targets, and how many places nothing predicts.
[[nodiscard]] std::string expected_words(const std::vector<Prediction>& predictions,
                                         std::size_t not_predicted);
/// What to do next, in sentences; defers to the manual.
[[nodiscard]] std::vector<std::string> advice_words(const Job& job, const Verdict& verdict);

}  // namespace trimwright

#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/base/error.hpp"
#include "trimwright/check/mistake.hpp"
#include "trimwright/trim/trim_plan.hpp"

namespace trimwright {

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

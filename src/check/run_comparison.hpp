#pragma once

#include <Eigen/Core>

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/check.hpp"

namespace trimwright {

/// One usable once-per-rev reading at a place that the model predicts.
struct HeldReading {
  std::size_t run = 0;
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::size_t row = 0;  ///< entry of the posterior's rows
  double rpm = 0.0;
  Phasor x;
  Phasor phase_factor = 1.0;  ///< of the reading as written to x, events since included
  Eigen::VectorXcd unsure{};  ///< d x / d value of the model's events: they are not known exactly
  double within_sd = 0.0;     ///< repeatability, and what being read off its speed point may change
  /// What shares of a reading are shares of, the same under every hypothesis: what was read, or twice the
  /// level usual at the row where it is larger; of the check run what was foretold.
  Phasor level;
};

/// One way in which the readings of some runs may have come about. Readings are those of `runs` in the order
/// of `RunComparison::readings_of`.
struct Hypothesis {
  MistakeKind kind = MistakeKind::nothing;
  std::string what;               ///< "spinner slot 4: K3 is missing"
  double share = 1.0;             ///< beside the other forms of its kind
  std::vector<std::size_t> runs;  ///< runs it is about
  Eigen::VectorXcd readings;      ///< with the mistake undone
  Eigen::MatrixXcd unbalance;     ///< U that was really fitted, runs x planes of the model [g mm]
  double log_volume = 0.0;        ///< log |d readings / d read|
  Eigen::VectorXd moment_sd;  ///< unknown moment per plane [g mm per real component]; empty: none; of one run
  double gain_sd = 0.0;       ///< unknown common gain
  Eigen::VectorXd noise_sd;   ///< unknown, each reading on its own; empty: none
  bool any_turn = false;      ///< all readings turned alike by an unknown angle, each as likely
  Eigen::MatrixXcd shapes{};  ///< readings x unknowns: what one standard deviation of each makes of them
  std::optional<std::size_t> mistyped_row{};  ///< of the one reading that may be anything
};

/// What the readings tell of the unknowns of `Hypothesis::shapes` (in standard deviations) or `moment_sd`
/// [g mm]: estimate and one standard deviation per real component.
struct ToldUnknowns {
  Eigen::VectorXcd value;
  Eigen::VectorXd sd;
};

/// An angle that turns foretold readings into those read, and one standard deviation [rad lead].
struct ToldTurn {
  double angle = 0.0;
  double sd = 0.0;
};

/// log(exp(a) + exp(b)).
[[nodiscard]] double log_sum(double a, double b);

/// What the runs before foretell of the check run's readings, place by place.
struct NextReadings {
  std::vector<HeldReading> readings;
  Eigen::VectorXcd mean;
  Eigen::MatrixXcd unsure;  ///< covariance of `mean`, per real component
  Eigen::MatrixXcd noise;   ///< of one run's readings about what is true
};

/// A run, the runs that foretell it, and what they say.
struct Foretelling {
  Job job;
  InfluenceModel model;
  bool by_repeats = false;  ///< of the same weights alone
};

/// From the runs before `run`: the model they settle, or those with the same weights alone, by which no plane
/// acts. Empty where neither foretells a reading of it.
[[nodiscard]] std::optional<Foretelling> foretelling(const Job& job, std::size_t run, const Prior* prior);

/// What a mistake was made with, or what changed.
enum class MistakeOf {
  nothing_known,  ///< nothing wrong, or nothing considered
  weights,
  measuring,     ///< sensors, reference, instrument: of one run
  one_reading,   ///< readings of a run as they were written down
  several_runs,  ///< what is written of runs beside each other
  rotor
};
[[nodiscard]] MistakeOf mistake_of(MistakeKind kind);

/// How a job says that this happened before a run: "{reference: moved}"; empty: it has no words for it.
[[nodiscard]] std::string event_key(MistakeKind kind);

inline constexpr const char* unexplained = "nothing considered here explains it";

/// Log density of readings and how far they lie from what is foretold, squared, in units of their scatter.
struct Judged {
  double log_density = 0.0;
  double misfit = 0.0;
};

/// All readings of some runs, each run foretold from the others.
///
/// x = D b + e with b = (X0, C) of every row, and what X0 was before every new baseline; x of a run before an
/// event as it would be read since. What is believed of b beforehand is wide: twice the level usual
/// at the row for X0, and for what the usual change of a plane's weights moves it by; of a coefficient that a
/// fleet's prior knows, the prior's. So a correction that would make readings absurd cannot look likely where
/// little else speaks. e: of each reading its repeatability and proportional part, and what its run shares,
/// as the model's noise states or estimates it, or else `RunToRun`; and the tolerances of fitting.
///
/// A hypothesis about runs R changes neither the other runs nor what they foretell, so that p(all | it) over
/// p(all | as written) = p(R | others, it) over p(R | others, as written): for the check run the density of
/// its prediction.
class RunComparison {
 public:
  /// `model` of the runs before `check`, with a posterior. `prior`: the fleet's that `model` was made with.
  RunComparison(const Job& job, const InfluenceModel& model, std::size_t check, const RunToRun& scatter,
                const Prior* prior);

  [[nodiscard]] const Job& job() const { return *job_; }
  [[nodiscard]] const InfluenceModel& model() const { return *model_; }
  [[nodiscard]] std::size_t check() const { return check_; }
  /// Runs with readings that are compared, in order; the check run last.
  [[nodiscard]] const std::vector<std::size_t>& runs() const { return runs_; }
  [[nodiscard]] std::vector<HeldReading> readings_of(const std::vector<std::size_t>& runs) const;
  /// Usual level of a row: the median of its amplitudes.
  [[nodiscard]] double level(std::size_t row) const { return levels_[row]; }
  /// U of the model's planes as listed for `run` [g mm].
  [[nodiscard]] Eigen::VectorXcd listed(std::size_t run) const;
  /// Whether the other runs, and the prior, tell what `run` should read.
  [[nodiscard]] bool is_foretold(std::size_t run) const;

  [[nodiscard]] Hypothesis as_written(const std::vector<std::size_t>& runs) const;
  /// Over `scatter_scales`; the misfit at the usual scatter.
  [[nodiscard]] Judged judged(const Hypothesis& one) const;
  /// What is believed beforehand of C is a belief of what the usual change of a plane's weights moves a
  /// reading by: where a hypothesis makes that change another, so is the belief. The log of its density's
  /// factor, for every row. 0 of the check run, before which the coefficients are known, and with a fleet's
  /// prior.
  [[nodiscard]] double spread(const Hypothesis& one) const;
  /// What the others foretell of the hypothesis's runs.
  [[nodiscard]] Eigen::VectorXcd expected(const Hypothesis& one) const;
  [[nodiscard]] NextReadings next_readings() const;
  [[nodiscard]] ToldUnknowns told(const Hypothesis& one) const;
  [[nodiscard]] ToldTurn told_turn(const Hypothesis& one) const;
  /// What the check run would read by a hypothesis of what was fitted; empty of any other.
  [[nodiscard]] std::optional<Eigen::VectorXcd> foretold_check(const Hypothesis& one) const;
  /// Between two forecasts of the check run: squared, over the covariance of its readings as foretold.
  [[nodiscard]] double apart(const Eigen::VectorXcd& one, const Eigen::VectorXcd& other) const;
  /// The comparison as it were with the mistake undone.
  [[nodiscard]] RunComparison corrected(const Hypothesis& one) const;

 private:
  struct Foretold {
    Eigen::VectorXcd mean;        ///< of b
    Eigen::MatrixXcd covariance;  ///< per real component
  };
  /// From the runs but these, their scatter `scale` times the usual.
  const Foretold& foretold(const std::vector<std::size_t>& runs, double scale) const;
  /// Of the readings of a hypothesis, at the usual scatter.
  [[nodiscard]] Foretold foretold_readings(const Hypothesis& one) const;
  [[nodiscard]] Foretold from_others(const std::vector<std::size_t>& runs, double scale) const;
  [[nodiscard]] Foretold from_model() const;
  [[nodiscard]] Eigen::MatrixXcd design(const std::vector<HeldReading>& readings,
                                        const std::vector<std::size_t>& runs,
                                        const Eigen::MatrixXcd& unbalance) const;
  /// Of what one unknown moment per plane makes of readings.
  [[nodiscard]] Eigen::MatrixXcd moment_effects(const std::vector<HeldReading>& readings) const;
  [[nodiscard]] Eigen::MatrixXcd noise(const std::vector<HeldReading>& readings) const;
  void believe_beforehand(const Prior* prior);
  /// What is believed beforehand of coefficients that places share becomes that of the first.
  void share_coefficients();
  /// X0, C and new baselines of a row.
  [[nodiscard]] Eigen::Index entries() const { return 1 + centre_.size() + shifts_.cols(); }
  /// Among them, of all rows, an unknown of the posterior.
  [[nodiscard]] Eigen::Index place_of_unknown(std::size_t unknown) const;

  const Job* job_;
  const InfluenceModel* model_;
  std::size_t check_;
  RunToRun scatter_;
  std::vector<std::size_t> runs_;
  std::vector<HeldReading> held_;         ///< by run
  std::vector<Eigen::VectorXcd> listed_;  ///< by run of the job
  std::vector<Eigen::VectorXd>
      fitting_;              ///< variance of each plane's moment by tolerances, by run of the job
  Eigen::VectorXd seating_;  ///< the same, assumed of blades that seat anew
  std::vector<double> levels_;
  Eigen::MatrixXd shifts_;        ///< runs of the job x new baselines: 1 for a run before it
  Eigen::VectorXcd centre_;       ///< of U over the runs
  Eigen::VectorXd change_;        ///< usual change of each plane's U
  Eigen::VectorXcd before_mean_;  ///< of b beforehand, b = (X0 at `centre_`, C change) by row
  Eigen::MatrixXcd before_covariance_;
  bool fleet_ = false;
  mutable std::map<std::pair<std::vector<std::size_t>, double>, Foretold> memory_;  ///< of `foretold`
};

/// "phases read 34° ± 2° more": the one angle that turns what is foretold of a run into what it reads.
[[nodiscard]] std::string turned_by_words(const RunComparison& comparison, std::size_t run);

/// Shapes that a whole run may have changed by: every phase turned by any one angle; one sensor's ratio; and
/// of the check run one vector added to all readings of a sensor, as a bow does.
[[nodiscard]] std::vector<Hypothesis> shape_hypotheses(const RunComparison& comparison, std::size_t run);

/// All ways considered, about every run of which the others tell something.
[[nodiscard]] std::vector<Hypothesis> hypotheses_of(const RunComparison& comparison, std::size_t run);
/// What may have gone wrong in several runs at once: the forms of one kind after those of another.
[[nodiscard]] std::vector<Hypothesis> hypotheses_of_several(const RunComparison& comparison);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>

#include <complex>
#include <cstddef>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "trimwright/error.hpp"
#include "trimwright/job.hpp"
#include "trimwright/prior.hpp"

namespace trimwright {

/// One part of the scatter of readings: one standard deviation per real component.
struct NoisePart {
  enum class Source {
    stated,     ///< by the rotor file or the reading
    estimated,  ///< from repeats and redundant runs
    unknown     ///< neither; counts as zero
  };
  double sd = 0.0;  ///< peak, in the sensor's unit symbol
  Source source = Source::unknown;
};

/// How the readings of one sensor scatter. A reading of row i in run k is
///     x = X0_i + sum_p C_ip U_kp + r_k + e,
/// r_k common to all readings of this sensor in run k (thermal state, seating of blades, wind), e of its own,
/// with variance within^2 + (proportional |x|)^2 per real component.
struct SensorNoise {
  NoisePart within;
  NoisePart run_to_run;
  double proportional = 0.0;  ///< stated only: no repeats at hand tell it from the other two
};

/// The scatter of all sensors and how well it is known.
struct NoiseModel {
  std::vector<SensorNoise> sensors;  ///< one per sensor of the rotor
  bool known = true;  ///< false: nothing tells the repeatability of some sensor, so that no ± can be given
  /// Of the variance of one reading, where it is estimated or widened: intervals then use Student's t.
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  /// Factor on every standard deviation because the residuals reject what was stated (probability below 1 %).
  double widened = 1.0;
};

/// Complex values with a real covariance: stacked as (re, im) of each, so that scatter in amplitude may
/// differ from scatter in phase. Student's t with `degrees_of_freedom`, normal when that is infinite.
struct PhasorDistribution {
  Eigen::VectorXd mean;        ///< 2n
  Eigen::MatrixXd covariance;  ///< 2n x 2n; the scale matrix of the t distribution
  double degrees_of_freedom = std::numeric_limits<double>::infinity();

  [[nodiscard]] Phasor at(std::size_t i) const {
    return {mean(2 * static_cast<Eigen::Index>(i)), mean(2 * static_cast<Eigen::Index>(i) + 1)};
  }
};

struct PosteriorDraws;

/// One real figure of an event (`Run::before`) that turns or scales readings, stated or told by the runs.
struct EventPart {
  enum class Of {
    angle,     ///< of all phases [rad lead]
    delay,     ///< the same at the highest speed point of the job, and in proportion to speed [rad lead]
    log_size,  ///< logarithm of one sensor's amplitudes
    turn       ///< of one sensor's phases [rad lead]
  };
  std::size_t run = 0;     ///< before which it happened
  std::size_t sensor = 0;  ///< of `log_size` and `turn`
  Of of = Of::angle;
  bool stated = false;
  double value = 0.0;  ///< later readings over earlier ones: angle, logarithm of the ratio
  double sd = 0.0;     ///< 0 where stated
};

/// Baselines and coefficients of a posterior are those since the last event: readings of earlier runs are
/// multiplied by this to be compared with them.
[[nodiscard]] Phasor since_events(const std::vector<EventPart>& events, const Job& job, std::size_t run,
                                  double rpm, std::size_t sensor);

/// Whether an angle is a whole number of teeth of the reference ring.
struct WholeTeeth {
  int teeth = 0;             ///< the likeliest number; positive: later phases lead more
  double probability = 0.0;  ///< that it is this number
  double none = 0.0;         ///< that it is none
};
/// Bayes' rule: as likely beforehand to be a whole number k of the ring's teeth as any angle; of the whole
/// numbers in proportion to 1 / max(1, k^2), few being likelier than many (our own figures). Empty where it
/// is not an angle of the reference, was stated, or the rotor declares no ring.
[[nodiscard]] std::optional<WholeTeeth> whole_teeth(const Job& job, const EventPart& part);

struct InfluenceModel;
/// "the phase reference moved (new pickup)": an event as the job has it.
[[nodiscard]] std::string happened_words(const Job& job, const Event& event);
/// What happened between the runs and what came of it, a sentence or two each, in the order of runs.
[[nodiscard]] std::vector<std::string> event_words(const Job& job, const InfluenceModel& model);

/// Baseline and coefficients of all rows together, from the runs and, where one is named, a fleet's prior.
///
/// Without a prior generalised least squares with the noise of every part. With one, Bayesian linear
/// regression with a flat prior on every X0 (A. Gelman et al., *Bayesian Data Analysis*, 3rd ed. 2013,
/// chapter 14), by an orthogonal factorisation of the whitened readings stacked on the whitened prior.
struct InfluencePosterior {
  std::vector<std::pair<std::size_t, std::size_t>> rows;  ///< speed, sensor
  std::vector<std::size_t> planes;
  /// Of (X0, C_1 .. C_P) of each row in turn; see `entry`.
  PhasorDistribution unknowns;
  NoiseModel noise;
  double misfit = 0.0;                  ///< whitened residuals squared, those of the prior included
  int misfit_dof = 0;                   ///< real degrees of freedom of `misfit`; 0: nothing to judge by
  std::vector<EventPart> events{};      ///< that turn or scale readings, in the order of runs
  Eigen::MatrixXd events_covariance{};  ///< of their values; what it makes uncertain is in `unknowns` too
  /// With `Residual::small`, where there are more rows than planes: what probabilities are reckoned from.
  /// `unknowns` has their mean and covariance.
  std::shared_ptr<const PosteriorDraws> draws;

  /// Position of entry `q` (0: X0, 1 + p: coefficient of `planes[p]`) of row `i` among the unknowns.
  [[nodiscard]] std::size_t entry(std::size_t i, std::size_t q) const { return i * (1 + planes.size()) + q; }
};

inline constexpr double agreeing_r_hat = 1.05;
/// How well the chains that drew a posterior agree (A. Vehtari et al., *Bayesian Analysis* 16 (2021)).
struct Sampling {
  int draws = 0;
  double split_r_hat = 1.0;  ///< above `agreeing_r_hat`: they do not agree, chances are not to be relied on
  double effective_draws = 0.0;  ///< independent draws that would tell as much
};
/// Empty where nothing was drawn.
[[nodiscard]] std::optional<Sampling> sampling_of(const InfluencePosterior& posterior);

/// x(U) of every row, the noise of a reading not included. `unbalance`: one per plane of the posterior.
[[nodiscard]] PhasorDistribution predicted_phasors(const InfluencePosterior& posterior,
                                                   const Eigen::VectorXcd& unbalance);

/// Half the expected (b - mean)(b - mean)^H of b = (X0, C_1 .. C_P) of row `i`: what a mean over the two real
/// components keeps of its covariance.
[[nodiscard]] Eigen::MatrixXcd circular_covariance(const InfluencePosterior& posterior, std::size_t i);

/// What is believed of the vibration that weights cannot cancel.
enum class Residual {
  any,   ///< nothing: least squares
  small  ///< small beside what they can, as a trim supposes
};

/// The posterior of rows that have a usable reading in some run.
///
/// With a prior: rows and planes the prior knows (planes: those of `planes`, or all it knows). Without: rows
/// and planes that the runs settle. Noise parts that are not stated are estimated by restricted maximum
/// likelihood from the redundancy of the runs alone, where there is any.
/// Errors: nothing to solve for; a prior, and readings whose repeatability nothing tells.
///
/// `Residual::small`: that weights in the planes could cancel most of the vibration is part of the knowledge:
/// X0 = -C V + d for some unbalance V. Sampled, with the size of d (in proportion to the limits of the rows),
/// variances that are not stated, and a fleet's scatter. As `Residual::any` where no more rows than planes
/// support it, and of more than 80 rows, which would take too long.
[[nodiscard]] Result<InfluencePosterior> influence_posterior(const Job& job,
                                                             const std::vector<std::size_t>& planes = {},
                                                             const Prior* prior = nullptr,
                                                             Residual residual = Residual::any);

/// Half the width of the interval of probability `probability` of a quantity of standard error 1.
[[nodiscard]] double interval_factor(double probability, double degrees_of_freedom);

/// A reading and what the model makes of it; of a run before an event as it would be read since.
struct FittedReading {
  std::size_t run = 0;  ///< index into Job::runs
  Phasor read;
  Phasor fitted;
  double within_sd =
      0.0;          ///< of the reading in its run, per real component: its own, stated, or its sensor's
  double sd = 0.0;  ///< the same with run-to-run change and proportional part
};

/// One speed and sensor: x(U) = baseline + sum_p coefficients[p] U_p, U_p the total moment of plane p.
struct InfluenceRow {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  Phasor baseline;                 ///< X0: what would be measured with the slots empty, peak
  Eigen::VectorXcd coefficients;   ///< C, one per entry of InfluenceModel::planes [sensor unit peak / g mm]
  std::vector<FittedReading> fit;  ///< every reading used
  int readings = 0;                ///< complex readings used
  int spare = 0;                   ///< readings beyond the unknowns (complex degrees of freedom)
  /// (X0, C) as least squares has them are `gain` times the readings of `fit` (and, where readings are
  /// missing or of unlike certainty, little of the sensor's others). Empty where the rows are a posterior's
  /// mean.
  Eigen::MatrixXcd gain;
  /// Standard deviation of one reading within its run per real component, without the proportional part:
  /// stated, or estimated. Empty where nothing tells it.
  std::optional<double> reading_sd;
};

/// A reading that took no part, and why.
struct LeftOut {
  std::size_t run = 0;
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::string why;
};

/// A speed and sensor whose coefficients the readings at hand do not settle, and why.
struct UnsettledRow {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  std::string why;
};

/// Which of the two phase conventions the runs support.
struct MirrorTest {
  enum class Outcome {
    cannot_tell,     ///< trial vectors collinear, or no more runs than planes + 1
    supports_given,  ///< the runs speak for the convention the model was fitted in
    contradicts,  ///< the runs, or those of one sensor alone, speak for its mirror; or, with a fleet's prior,
                  ///< for another declaration of phase or angle
    neither_fits  ///< even the better of the two leaves more than the stated noise explains; or, with a
                  ///< prior, the fleet has no such rotor (`fleet_hopeless`)
  };
  Outcome outcome = Outcome::cannot_tell;
  double log_odds = 0.0;                      ///< natural log of the likelihood ratio, given over mirror
  std::vector<std::size_t> mirrored_sensors;  ///< sensors whose own readings speak for the mirror
};

/// What the runs alone say of themselves, whatever else is known of the rotor.
struct RunsVerdict {
  std::vector<std::size_t> used;  ///< indices into Job::runs
  std::vector<LeftOut> left_out;
  int rank = 0;            ///< of the matrix of runs: 1 + number of planes when they separate
  double condition = 0.0;  ///< of that matrix, columns centred and scaled to unit norm
  MirrorTest mirror;
  double misfit = 0.0;  ///< chi-squared: residuals squared over all stated parts of the noise, of the sensors
                        ///< with a stated repeatability
  int misfit_dof = 0;   ///< real degrees of freedom; 0: nothing to judge by
};

/// What of a job's declarations may be wrong, where a fleet's prior tells how planes act.
enum class Convention { declared, phase, slots_counted, slot_1, viewing_end };

/// A way of declaring, and how it compares with the job's own.
struct ConventionOdds {
  Convention which = Convention::declared;
  std::string what;       ///< its likeliest form: "drum: slots were counted the wrong way from slot 1"
  double log_odds = 0.0;  ///< natural, over what the job declares
};

/// What a fleet's prior brought to a model.
struct PriorUse {
  int jobs = 0;                             ///< that the prior was learned from
  std::optional<FleetCheck> fleet;          ///< the runs' own coefficients against it, where they settle any
  std::vector<ConventionOdds> conventions;  ///< likeliest first; empty where no run changed a weight
  std::optional<PriorLevels> levels{};      ///< where it was made for this rotor
  std::vector<LeftOutJob> left_out{};       ///< jobs that such a prior was not made from
};

/// Below this chance of a rotor of the fleet no plan is made on a job: a declaration, or much else, is wrong.
inline constexpr double fleet_hopeless = 1e-6;

/// How the rotor answers a unit of unbalance.
struct InfluenceModel {
  /// What baselines and coefficients (`rows`, `posterior`) rest on.
  enum class Basis {
    runs,           ///< least squares of the runs
    prior,          ///< the runs and a fleet's prior: the posterior's mean
    small_residual  ///< the runs, and that weights cancel most of it (`Job::small_residual`): the same mean
  };
  PhaseConvention convention = PhaseConvention::lag;  ///< the one the readings were taken in
  bool convention_found = false;    ///< the rotor file said `unknown` and the runs settled it
  std::vector<std::size_t> planes;  ///< planes whose coefficients are known, indices into the rotor's
  Eigen::VectorXcd centre;          ///< mean U over the runs used [g mm]
  Basis basis = Basis::runs;
  std::vector<InfluenceRow> rows;  ///< by speed, then sensor
  std::vector<UnsettledRow> unsettled;
  double planes_condition =
      0.0;  ///< of the coefficients, rows over limits, columns scaled: planes that act alike
  RunsVerdict runs;
  /// Baselines and coefficients with their joint covariance; empty where no reading noise is known.
  std::optional<InfluencePosterior> posterior;
  /// The same, knowing that weights cancel most of the vibration (`Residual::small`): what probabilities are
  /// reckoned from. Its mean lies within the uncertainty of `posterior`.
  std::optional<InfluencePosterior> belief;
  std::optional<PriorUse> prior;  ///< where one was given
};

/// Generalised least squares over all usable runs, baseline included as unknown: the noise is that of every
/// part, stated or estimated (repeatability or a reading's own, run-to-run change, proportional part).
///
/// Sources: Thearle (1934) for one plane and one run each; Goodman (1964) for least squares; Yu (2004) for
/// weights left on and redundant runs; A. C. Aitken, *Proc. Roy. Soc. Edinburgh* 55 (1935), for correlated
/// noise. Readings of one sensor in one run are correlated; nothing else ties speeds and sensors.
///
/// `planes`: the planes to solve for; empty: every plane whose weights any run changed. A plane that no run
/// changed is constant and part of X0; naming it is an error.
/// Errors: the runs cannot separate the planes (the message says which run is missing); no usable reading.
/// The job's rotor must say lag or lead.
[[nodiscard]] Result<InfluenceModel> fit_influence(const Job& job,
                                                   const std::vector<std::size_t>& planes = {});

/// A job and how its rotor answers.
struct SettledModel {
  Job job;  ///< with its rotor's convention settled
  InfluenceModel model;
};

/// The way in: as `fit_influence`, but a rotor that says `unknown` is tried in both conventions, and the one
/// that the runs support is taken. Error: they cannot tell.
/// With a prior: every plane the prior knows (or those asked for), runs and prior combined; a baseline alone
/// is then enough. The prior tells lag from lead as soon as a run changed a weight, and whether slots are
/// counted, slot 1 lies and angles go as declared: see `PriorUse::conventions`.
/// With `Job::small_residual`, and no prior: baselines and coefficients are those that suppose that weights
/// can cancel most of the vibration. Error: nothing tells how well readings repeat, or no more rows than
/// planes.
[[nodiscard]] Result<SettledModel> settle_and_fit(const Job& job, const std::vector<std::size_t>& planes = {},
                                                  const Prior* prior = nullptr);

/// The job up to run `run` as if what happened right before that run had been undone: readings of earlier
/// runs as they would be read since (stated, or told by all these runs together), so that the runs before can
/// foretell it. A new baseline cannot be undone; with a fleet's prior, whose frame is that of the first run,
/// nothing is. Errors: those of `settle_and_fit`.
[[nodiscard]] Result<Job> with_events_undone(const Job& job, std::size_t run,
                                             const std::vector<std::size_t>& planes = {});

/// How far weights may be fitted by a model: the one judge, whoever plans, words or draws.
struct Trust {
  enum class Grade {
    sound,
    fit_nothing_yet,  ///< the runs do not agree with one another, or fit neither way of reading the phases: a
                      ///< plan says so before all else
    contradicted      ///< by the runs, or by a fleet that has no such rotor, whatever is declared: no plan is
                      ///< made unless it is asked for all the same
  };
  Grade grade = Grade::sound;
  std::string why{};  ///< in words that go on a sentence; empty where nothing speaks against it

  [[nodiscard]] bool sound() const { return grade == Grade::sound; }
  /// "Fit nothing yet: the runs ..."; empty where it is sound.
  [[nodiscard]] std::string words() const;
};
[[nodiscard]] Trust trust(const Job& job, const InfluenceModel& model);

/// x(U) for U given per entry of `model.planes` [g mm].
[[nodiscard]] Phasor predict(const InfluenceRow& row, const Eigen::VectorXcd& unbalance);

/// Below this `fit_probability` readings scatter more than what is stated of them, and every uncertainty is
/// widened; below the second the runs do not agree with one another, and foretell nothing that a run could
/// be judged by (our own figures).
inline constexpr double doubtful_fit = 0.01, disagreeing_fit = 0.001;
/// Above this probability of a chi-squared as large, readings agree too well for what is stated of their
/// scatter; and what that means, to go on a sentence (our own figure).
inline constexpr double too_good_fit = 0.999;
inline constexpr const char* stated_too_large =
    "what the rotor file states (repeatability, run_to_run, proportional) is much too large. Write what is "
    "true: "
    "until then every ± is too wide, chances are too low, and a mistake may pass.";
[[nodiscard]] bool runs_agree(const InfluenceModel& model);

/// Condition of the runs, or of the planes, above which small errors become large weights, or weights of the
/// planes fight each other; our own figure.
inline constexpr double large_condition = 30.0;

/// How many times more the readings scatter than stated, where chi-squared rejects the stated noise
/// (`doubtful_fit`); else 1.
[[nodiscard]] double excess_scatter(const InfluenceModel& model);

/// V with at^T V conj(at) the variance per real component of the predicted x(U), at = (1, U - centre); the
/// noise of the next reading not included. Empty where no reading noise is known.
[[nodiscard]] std::optional<Eigen::MatrixXcd> prediction_covariance(const InfluenceModel& model,
                                                                    const InfluenceRow& row);

/// Standard deviation per real component of the predicted x(U), the noise of the next reading not included;
/// root mean square of the two components. Empty where no reading noise is known.
[[nodiscard]] std::optional<double> prediction_sd(const InfluenceModel& model, const InfluenceRow& row,
                                                  const Eigen::VectorXcd& unbalance);

/// Standard error per real component of coefficient `p` of `row`; empty where no reading noise is known.
[[nodiscard]] std::optional<double> coefficient_sd(const InfluenceModel& model, const InfluenceRow& row,
                                                   std::size_t p);

/// Probability that a chi-squared variable of the model's degrees of freedom exceeds its value; 1 without
/// any. Small: the readings scatter more than their stated repeatability, or something changed between runs.
[[nodiscard]] double fit_probability(const InfluenceModel& model);

}  // namespace trimwright

#pragma once

#include <Eigen/Core>

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "trimwright/job.hpp"

namespace trimwright {

struct InfluencePosterior;

/// Below this probability a rotor's coefficients do not look like those of its fleet; our own figure.
inline constexpr double belongs_to_fleet = 0.01;

/// One influence coefficient as the fleet has it.
struct PriorCoefficient {
  double rpm = 0.0;
  std::string sensor;
  std::string plane;
  std::string unit;  ///< the sensor's unit symbol (peak)
  Phasor mean;       ///< [unit peak / g mm], lead, rotor angle
  int jobs = 0;      ///< that tell it
};

/// An earlier job, or a part of it, that a prior was not made from.
struct LeftOutJob {
  std::string name;
  std::string why;
};

/// How the coefficients of one rotor differ from the type's: C = mean (1 + g_p + h + e s), g_p common to a
/// plane and h of each coefficient. Real parts are relative changes of amplitude, imaginary ones of phase
/// [rad]. e, real and one for the rotor, is how far its critical speeds lie below the type's (relative):
/// C(n) is then the type's at n (1 + e), and s = d ln C / d ln n (`speed_slopes`).
/// Order: common amplitude, common phase, own amplitude, own phase, critical speeds.
struct FleetScatter {
  static constexpr int parts = 5;
  std::array<double, parts> sd{};
  using Covariance = Eigen::Matrix<double, parts, parts>;
  Covariance covariance = Covariance::Zero();  ///< of the estimates of sd^2
};

/// Size of the vibration that no weight explains in rotors of the type, per real component over the limits of
/// the rows: its square is scaled inverse chi-squared.
struct LeftByFleet {
  double size = 0.0;
  double degrees_of_freedom = 0.0;
};

/// What an earlier job is to a prior made for one rotor.
struct PriorPart {
  std::string name;    ///< as messages call the job
  std::string date;    ///< of its first run; may be empty
  bool own = false;    ///< of the same serial
  double share = 0.0;  ///< of the coefficients' means, on average; all parts together 1
};

/// How a prior made for one rotor came about: from the type, and from this rotor's own earlier jobs.
struct PriorLevels {
  std::vector<PriorPart> parts;  ///< in the order of the jobs given
  std::string serial;            ///< of the rotor
  bool rotors_told = false;      ///< how far rotors of the type differ is estimated; else it is stated, wide
  bool visits_told = false;      ///< the same of visits of one rotor
  double degrees_of_freedom = 0.0;  ///< that the scatter common to a plane is known with, at most

  [[nodiscard]] double own_share() const;
};

/// Influence coefficients of a rotor type, learned from earlier jobs.
///
/// A random-effects model: every job's coefficients are the type's, times a complex gain common to a plane
/// and an individual part, seen through the job's own error. Tens of jobs cannot give a full covariance of
/// the coefficients; this structure has five variances. They are estimated by restricted maximum likelihood
/// (H. D. Patterson and R. Thompson, *Biometrika* 58 (1971); D. A. Harville, *J. Amer. Statist. Assoc.* 72
/// (1977)); for the pooling see R. DerSimonian and N. Laird, *Controlled Clinical Trials* 7 (1986). Few jobs
/// often look as if they had no scatter at all; the likelihood is therefore multiplied by each standard
/// deviation, which keeps it off zero and takes one degree of freedom where there are many (Y. Chung,
/// S. Rabe-Hesketh, V. Dorie, A. Gelman and J. Liu, *Psychometrika* 78 (2013)).
struct Prior {
  std::string rotor;  ///< the type
  int jobs = 0;
  std::vector<PriorCoefficient> coefficients;
  FleetScatter scatter;
  /// Of the estimated means, 2n x 2n, in relative amplitude and phase as the scatter.
  Eigen::MatrixXd mean_covariance;
  std::optional<LeftByFleet> left{};
  std::vector<LeftOutJob> left_out{};
  /// Where it was made for one rotor (`prior_for`): `mean` is then what that rotor's coefficients are
  /// expected to be, and `scatter` that between its visits where it has earlier jobs of its own.
  std::optional<PriorLevels> levels{};
};

/// Names of the parts of `FleetScatter`, in its order.
[[nodiscard]] const std::array<std::string, FleetScatter::parts>& scatter_names();

/// d ln C / d ln n of every coefficient's mean, from those of the same plane and sensor at the speeds beside
/// it (three-point differences; at an end the difference to the only neighbour); zero where there is none.
[[nodiscard]] std::vector<Phasor> speed_slopes(const Prior& prior);

/// Covariance (2n x 2n) of a new rotor's coefficients, relative amplitude and phase: scatter between rotors
/// and uncertainty of the means.
[[nodiscard]] Eigen::MatrixXd relative_covariance(const Prior& prior);

/// Positions of a posterior's unknowns among a prior's coefficients.
struct PriorMatch {
  std::vector<std::size_t> prior;    ///< indices into Prior::coefficients
  std::vector<std::size_t> unknown;  ///< complex positions in InfluencePosterior::unknowns
};
[[nodiscard]] PriorMatch matched(const Prior& prior, const Job& job, const InfluencePosterior& posterior);

/// Mean (2m) and covariance of the matched coefficients of a new rotor, in the posterior's units.
struct PriorMoments {
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
};
[[nodiscard]] PriorMoments prior_moments(const Prior& prior, const std::vector<std::size_t>& coefficients);

/// The prior with its scatter drawn from what is known of it, `count` times: each variance scaled inverse
/// chi-squared with Satterthwaite's degrees of freedom, of the parts common to a plane at most
/// planes * (jobs - 1).
[[nodiscard]] std::vector<Prior> prior_draws(const Prior& prior, int count, std::uint64_t seed);

/// An earlier job, and what messages call it.
struct FleetJob {
  Job job;
  std::string name;
};

/// Fewest jobs that a prior, and any one coefficient of it, can be made from.
inline constexpr int fewest_fleet_jobs = 3;

/// Below this many jobs people are told that the scatter between rotors is hardly known.
inline constexpr int few_fleet_jobs = 10;

/// Degrees of freedom with which the variance of a new rotor's coefficient, scatter and uncertainty of the
/// mean, is known (mean over the coefficients; amplitude or phase, the lesser): by Satterthwaite from
/// `FleetScatter::covariance`, but never more than the number of planes times (jobs - 1), which is all that
/// the common parts are known from: a scatter that few jobs happen to show too small would else look sure.
[[nodiscard]] double scatter_degrees_of_freedom(const Prior& prior);

/// Pools jobs of one rotor type. Left out, and told in `Prior::left_out`: a job that settles no coefficient
/// of its own, that speaks against its declared conventions, that stands there twice, whose coefficients do
/// not belong to those of the others (`fleet_check` below 1 %), and coefficients that fewer than
/// `fewest_fleet_jobs` jobs have, with what did not match. So that a wrong job cannot hide itself by widening
/// the scatter, the three quarters of the jobs nearest to the median are pooled first, and each of the others
/// is admitted if it belongs to those (forward search: A. C. Atkinson and M. Riani, *Robust Diagnostic
/// Regression Analysis*, 2000). Errors: fewer than `fewest_fleet_jobs` are left; rotors of different name.
[[nodiscard]] Result<Prior> learn_prior(const std::vector<FleetJob>& jobs);

/// A prior for the rotor of `job` in two levels, from jobs of its type: C of rotor r in visit v is the type's
/// times 1 + g + h + e s (of the rotor, as in `learn_prior`) + w (of the visit, in the same parts).
///
/// Best linear unbiased prediction of this rotor's next visit (C. R. Henderson, *Biometrics* 31 (1975)): with
/// its own earlier jobs, where there are any of its serial, and the type's. The ten variances are estimated
/// by restricted maximum likelihood where three rotors and three visits beyond the first of a rotor tell
/// them; else the five of `learn_prior`, half of each between visits; of fewer than three rotors they are
/// stated: 0.2 common to a plane and 0.1 of each coefficient's own between rotors and visits together, in
/// amplitude and in phase [rad], critical speeds alike, half of the squares between visits (our own figures,
/// wide). Without earlier
/// jobs of its own and from `fewest_fleet_jobs` others it is that of `learn_prior`.
///
/// Left out, and told: what `learn_prior` leaves out; a job whose first run is this job's own. Errors: no job
/// on this type settles a coefficient.
[[nodiscard]] Result<Prior> prior_for(const Job& job, const std::vector<FleetJob>& jobs);

/// "mostly from this engine's trim of 2031-05-13": how much each level tells, a sentence or two.
[[nodiscard]] std::string levels_words(const PriorLevels& levels);

/// Whose trims a prior was made from: "this rotor's own earlier trims", those of others, of both, or, where
/// it was made for no rotor in particular, "the trims of the rotor's fleet".
[[nodiscard]] std::string source_words(const std::optional<PriorLevels>& levels);

/// Whether a job's own coefficients belong to its fleet.
struct FleetCheck {
  double distance = 0.0;  ///< squared Mahalanobis distance from the fleet's mean
  int components = 0;     ///< real
  /// Of the F distribution that distance / components follows: scatter was itself estimated.
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  double probability = 1.0;  ///< of a distance as large for a rotor of the fleet
};

/// Compares the runs' own estimate (`alone`, without a prior) with the fleet. Predictive: the covariance
/// holds the scatter between rotors, the uncertainty of the fleet's mean and the job's own error, and F's
/// degrees of freedom follow from how well the scatter is known (F. E. Satterthwaite, *Biometrics Bulletin* 2
/// (1946)). Empty when the two share no coefficient.
[[nodiscard]] std::optional<FleetCheck> fleet_check(const Prior& prior, const Job& job,
                                                    const InfluencePosterior& alone);

}  // namespace trimwright

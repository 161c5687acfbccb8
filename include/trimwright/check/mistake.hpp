#pragma once

#include <string>
#include <vector>

#include "trimwright/check/run_scatter.hpp"

namespace trimwright {

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

}  // namespace trimwright

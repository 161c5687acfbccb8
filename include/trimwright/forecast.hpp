#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/influence.hpp"

namespace trimwright {

/// What the next run's reading at one place is likely to be. Amplitudes are peak.
struct ReadingOutlook {
  double low =
      0.0;  ///< nine readings in ten, or a few more, lie between `low` and `high`; the expected one does
  double high = 0.0;
  double below_limit = 1.0;   ///< probability
  double below_target = 1.0;  ///< probability; the limit where no target is set
};

/// Probability that the next run meets limits and targets at the places that are predicted.
struct Outlook {
  std::vector<ReadingOutlook> readings;  ///< in the order of the posterior's rows
  double meets_limits = 0.0;             ///< every one of `readings`, jointly
  double meets_targets = 0.0;
  double expected_worst = 0.0;  ///< mean of the largest amplitude over its limit
};

/// Why a reading of the next run may lie off what is expected: one standard deviation per real component
/// each, peak, independent of each other. Their sum of squares is half the trace of the covariance of
/// `next_readings_with`.
struct ScatterParts {
  double model = 0.0;         ///< the expected value itself: how well the runs tell baseline and coefficients
  double within = 0.0;        ///< of one reading in its run
  double run_to_run = 0.0;    ///< of all readings of a sensor in one run
  double proportional = 0.0;  ///< share of the amplitude expected
  double fitting = 0.0;       ///< tolerances of weights and slots

  [[nodiscard]] double total() const;
};

/// What one place reads now and is expected to read in the next run. The one home of these figures: text,
/// JSON, steps, page, sheet, circles, trial and check ask here. Amplitudes are peak, in the sensor's unit
/// symbol.
struct Prediction {
  std::size_t speed = 0;
  std::size_t sensor = 0;
  Phasor before;  ///< with what is fitted now
  Phasor after;   ///< expected in the next run
  double limit = 0.0;
  std::optional<double> target;
  /// What a trim aims at here: the target, or else the limit.
  [[nodiscard]] double goal() const { return target.value_or(limit); }
  std::optional<double> after_sd;           ///< of `after` per real component: ScatterParts::model
  std::optional<ReadingOutlook> reading{};  ///< of the next reading; these are empty where no noise is known
  std::optional<ScatterParts> parts{};
  /// A reading differs from what is expected when the distance between the two, drawn as arrows (|x -
  /// after|), is more than this: one sound reading in 55 is (exp(-4)).
  std::optional<double> differs_by{};
};

/// A place that the next run reads and nothing predicts.
struct UnpredictedPlace {
  Place place;
  std::string why;
};

/// The next run.
struct Forecast {
  std::vector<Prediction> predictions;  ///< by speed, then sensor: one per row of the model
  std::vector<UnpredictedPlace> not_predicted;
  std::optional<Outlook> outlook;  ///< of the places predicted, together; empty where no noise is known
};

/// The next run with `fitted` (one entry per plane of the rotor) and all known changes of `job`. `model` as
/// `settle_and_fit` gives it: expected values, ± and `differs_by` are its posterior's, nine in ten and
/// probabilities its belief's.
[[nodiscard]] Forecast forecast(const Job& job, const InfluenceModel& model,
                                const std::vector<FittedWeights>& fitted);

/// One sound reading in so many differs: exp(4), as people are told it.
inline constexpr int one_sound_reading_in = 55;

/// `differs_by` over the total standard deviation per real component: 2 sqrt(2), and more where that is
/// estimated, as |x - after|^2 / (2 sd^2) is then Fisher's F with 2 and the posterior's degrees of freedom.
[[nodiscard]] double differs_factor(const InfluenceModel& model);

/// Entry of `predictions` for a place; null where it is not predicted.
[[nodiscard]] const Prediction* prediction_at(const std::vector<Prediction>& predictions, std::size_t speed,
                                              std::size_t sensor);

/// How likely the next run meets every target and limit and of how many places that is said, or why it
/// cannot be said; and that the others are to be watched.
[[nodiscard]] std::string outlook_words(const std::vector<Prediction>& predictions, std::size_t not_predicted,
                                        const std::optional<Outlook>& outlook);

/// What the chances do not count in, and which scatter it is that keeps the chance of all targets low, in
/// sentences; none where nothing is to be said.
[[nodiscard]] std::vector<std::string> chance_notes(const Job& job, const InfluenceModel& model,
                                                    const std::vector<Prediction>& predictions,
                                                    const std::optional<Outlook>& outlook);

}  // namespace trimwright

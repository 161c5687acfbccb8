#include "trimwright/forecast.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/text.hpp"
#include "outlook.hpp"

namespace trimwright {
namespace {

using Eigen::Index;

/// Of one row of the model with `fitted`, which moves the place to `expected`.
std::optional<ScatterParts> scatter_parts(const Job& job, const InfluenceModel& model,
                                          const InfluenceRow& row, const Prediction& place,
                                          const std::vector<FittedWeights>& fitted) {
  if (!place.after_sd) return std::nullopt;
  ScatterParts parts;
  parts.model = *place.after_sd;
  const NextNoise noise = next_noise(model, row);
  parts.within = noise.within;
  parts.run_to_run = noise.run_to_run;
  parts.proportional = noise.proportional * std::abs(place.after);
  double variance = 0.0;
  for (std::size_t p = 0; p < model.planes.size(); ++p) {
    const std::size_t plane = model.planes[p];
    variance += 0.5 * std::norm(row.coefficients(static_cast<Index>(p))) *
                fitting_covariance(job.rotor.planes[plane], fitted[plane]).trace();
  }
  parts.fitting = std::sqrt(variance);
  return parts;
}

/// Why no prediction stands for a place that the next run reads.
std::string why_not_predicted(const Job& job, const InfluenceModel& model, const Place& place) {
  for (const auto& row : model.unsettled)
    if (row.speed == place.speed && row.sensor == place.sensor) return row.why;
  bool overall = false;
  for (const auto& run : job.runs)
    for (const auto& reading : run.readings)
      overall |= reading.speed == place.speed && reading.sensor == place.sensor &&
                 reading.component == Component::overall;
  return overall ? "only an overall level was read there, or no phase" : "no usable reading was made there";
}

std::vector<UnpredictedPlace> unpredicted(const Job& job, const InfluenceModel& model,
                                          const std::vector<Prediction>& predictions) {
  std::vector<UnpredictedPlace> places;
  for (const auto& place : places_to_run(job))
    if (prediction_at(predictions, place.speed, place.sensor) == nullptr)
      places.push_back({place, why_not_predicted(job, model, place)});
  return places;
}

}  // namespace

double ScatterParts::total() const {
  double sum = model;
  for (const double part : {within, run_to_run, proportional, fitting}) sum = std::hypot(sum, part);
  return sum;
}

NextNoise next_noise(const InfluenceModel& model, const InfluenceRow& row) {
  if (!model.posterior) return {excess_scatter(model) * row.reading_sd.value_or(0.0), 0.0, 0.0};
  const NoiseModel& noise = model.posterior->noise;
  const SensorNoise& sensor = noise.sensors[row.sensor];
  return {noise.widened * sensor.within.sd, noise.widened * sensor.run_to_run.sd,
          noise.widened * sensor.proportional};
}

double differs_factor(const InfluenceModel& model) {
  const double freedom = model.posterior ? model.posterior->unknowns.degrees_of_freedom
                                         : std::numeric_limits<double>::infinity();
  // Of F with 2 and `freedom`: 1 - (1 + 2 f / freedom)^(-freedom / 2) = 1 - exp(-4).
  const double f = freedom > 1e6 ? 4.0 : 0.5 * freedom * std::expm1(8.0 / freedom);
  return std::sqrt(2.0 * f);
}

Forecast forecast(const Job& job, const InfluenceModel& model, const std::vector<FittedWeights>& fitted) {
  Forecast next;
  const auto now = unbalance_with(job, model.planes, job.fitted_now);
  const auto then = unbalance_with(job, model.planes, fitted);
  const double factor = differs_factor(model);
  for (const auto& row : model.rows) {
    const Place& place = place_of(job, row.speed, row.sensor);
    Prediction one{row.speed,
                   row.sensor,
                   predict(row, now),
                   predict(row, then),
                   place.limit,
                   place.target,
                   prediction_sd(model, row, then)};
    one.parts = scatter_parts(job, model, row, one, fitted);
    if (one.parts) one.differs_by = factor * one.parts->total();
    next.predictions.push_back(one);
  }
  next.not_predicted = unpredicted(job, model, next.predictions);
  if (!model.belief) return next;
  next.outlook = next_run_outlook(job, *model.belief, fitted);
  for (std::size_t i = 0; i < model.belief->rows.size(); ++i)
    for (auto& one : next.predictions)
      if (std::pair(one.speed, one.sensor) == model.belief->rows[i]) {
        // What is expected is of the fit, the range of all that may be believed: it holds both.
        auto& range = next.outlook->readings[i];
        range.low = std::min(range.low, std::abs(one.after));
        range.high = std::max(range.high, std::abs(one.after));
        one.reading = range;
      }
  return next;
}

const Prediction* prediction_at(const std::vector<Prediction>& predictions, std::size_t speed,
                                std::size_t sensor) {
  const auto found = std::find_if(predictions.begin(), predictions.end(), [&](const Prediction& one) {
    return one.speed == speed && one.sensor == sensor;
  });
  return found == predictions.end() ? nullptr : &*found;
}

std::string outlook_words(const std::vector<Prediction>& predictions, std::size_t not_predicted,
                          const std::optional<Outlook>& outlook) {
  if (!outlook)
    return "How likely this is cannot be said: nothing tells how well the readings repeat (repeatability in "
           "the rotor file, or repeated runs).";
  const std::size_t known = outlook->readings.size();
  const std::size_t open = predictions.size() + not_predicted - known;
  const bool targets =
      std::any_of(predictions.begin(), predictions.end(), [](const auto& one) { return one.target; });
  std::string words = fmt::format(
      "Probability that {} meets its ",
      open == 0 ? "every reading of the next run" : fmt::format("each of the {} readings predicted", known));
  if (targets) words += fmt::format("target: {}; its ", percent_words(outlook->meets_targets));
  words += fmt::format("limit: {}.", percent_words(outlook->meets_limits));
  if (open == 1) words += " 1 reading is not predicted and not counted in this: watch it.";
  if (open > 1)
    words += fmt::format(" {} readings are not predicted and not counted in this: watch them.", open);
  return words;
}

namespace {

/// Below this chance of all targets it is told which scatter keeps it low (our own figure).
constexpr double low_chance = 0.8;

/// The part of the stated scatter that is largest at the reading that most likely misses its target.
std::string limiting_scatter(const Job& job, const InfluenceModel& model, const Prediction& worst) {
  const Sensor& sensor = job.rotor.sensors[worst.sensor];
  const SensorNoise& noise = model.posterior->noise.sensors[worst.sensor];
  const double of_itself = noise.proportional * std::abs(worst.before);
  const auto stated = [&](const NoisePart& part, const char* key) {
    return part.source != NoisePart::Source::stated
               ? std::string{}
               : fmt::format("{:.2g} {} ({})", sensor.unit.shown_from_peak(part.sd), sensor.unit.text(), key);
  };
  if (of_itself >= std::max(noise.within.sd, noise.run_to_run.sd))
    return of_itself > 0.0 ? fmt::format("{:g} % of themselves (proportional)", 100.0 * noise.proportional)
                           : "";
  return noise.run_to_run.sd > noise.within.sd ? stated(noise.run_to_run, "run_to_run")
                                               : stated(noise.within, "repeatability");
}

}  // namespace

std::vector<std::string> chance_notes(const Job& job, const InfluenceModel& model,
                                      const std::vector<Prediction>& predictions,
                                      const std::optional<Outlook>& outlook) {
  std::vector<std::string> notes;
  if (!outlook || !model.posterior) return notes;
  const Prediction* worst = nullptr;
  bool uncounted = false, within_scatter = true;  // no expected level is further above its target
  for (const auto& one : predictions) {
    const SensorNoise& noise = model.posterior->noise.sensors[one.sensor];
    uncounted |= noise.run_to_run.source == NoisePart::Source::unknown && noise.proportional == 0.0;
    within_scatter &= one.parts && std::abs(one.after) - one.goal() <= one.parts->total();
    if (one.reading && (worst == nullptr || one.reading->below_target < worst->reading->below_target))
      worst = &one;
  }
  if (worst != nullptr && within_scatter && !model.prior && outlook->meets_targets < low_chance)
    if (const auto scatter = limiting_scatter(job, model, *worst); !scatter.empty())
      notes.push_back(
          fmt::format("What keeps this chance low is scatter: the rotor file says that readings of {} differ "
                      "by {} though nothing was changed.",
                      job.rotor.sensors[worst->sensor].name, scatter));
  if (uncounted)
    notes.emplace_back(
        "A change from one run to the next is not counted in these chances: the rotor file does not state it "
        "(run_to_run), and no run was repeated that would show it.");
  return notes;
}

}  // namespace trimwright

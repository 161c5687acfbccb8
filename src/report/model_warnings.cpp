#include "model_warnings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <string>

#include "base/text.hpp"
#include "convention_words.hpp"
#include "plan/steps.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

std::string sentence(std::string words) {
  words.front() = static_cast<char>(std::toupper(words.front()));
  return words;
}

/// What every ± does about scatter beyond the stated.
std::string widening_words(const InfluenceModel& model) {
  if (const double widened = model.posterior ? model.posterior->noise.widened : 1.0; widened > 1.0)
    return fmt::format("Every ± is widened {:.1f} times.", widened);
  const auto estimated = [](const SensorNoise& one) {
    return one.run_to_run.source == NoisePart::Source::estimated && one.run_to_run.sd > 0.0;
  };
  const auto* known = model.posterior ? &model.posterior->noise.sensors : nullptr;
  return known != nullptr && std::any_of(known->begin(), known->end(), estimated)
             ? "Every ± contains a run-to-run change estimated from it."
             : "";
}

/// What scatter beyond the stated may mean.
std::string scatter_warning(const InfluenceModel& model) {
  return fmt::format(
      "{} The rotor or the conditions changed between runs, or a reading or a fitted weight is written down "
      "wrong{}: trimwright influence and check look for which. {}",
      runs_agree(model)
          ? fmt::format("The readings scatter more than what is stated of them explains: sound runs would "
                        "with a probability of {}.",
                        percent_words(fit_probability(model)))
          : fmt::format("The readings scatter {:.1f} times what is stated.", excess_scatter(model)),
      runs_agree(model) ? "" : ", or what the rotor file states of their scatter is too small",
      widening_words(model));
}

/// What the runs as written show before anything is fitted, and what a plan would silently follow.
bool is_of_the_job_file(ReadinessConcern concern) {
  using enum ReadinessConcern;
  switch (concern) {
    case unread_run:
    case doubled_readings:
    case contradicts:
    case lone_speed:
    case odd_effect:
    case no_longer_listed:
    case other_conditions:
    case trial_weight_in:
    case not_fitted_now:
      return true;
    default:
      return false;
  }
}

}  // namespace

std::optional<ReadinessFinding> nothing_spare(const Job& job, const InfluenceModel& model) {
  if (model.prior || model.convention == PhaseConvention::unknown) return std::nullopt;
  for (auto& finding : readiness(job).findings)
    if (finding.concern == ReadinessConcern::nothing_spare) return std::move(finding);
  return std::nullopt;
}

std::vector<std::string> model_warnings(const Job& job, const InfluenceModel& model) {
  std::vector<std::string> warnings;
  if (const Trust trusted = trust(job, model); !trusted.sound())
    warnings.push_back(sentence(trusted.why) + ". Do not fit anything before this is settled.");
  if (model.convention == PhaseConvention::unknown)
    warnings.emplace_back(
        "Solved from amplitudes alone. One amplitude read or written down wrong, or a rotor that does not "
        "repeat, goes unnoticed more easily than with phases: restore the phase reference when you can.");
  if (model.convention_found)
    warnings.push_back(fmt::format(
        "The rotor file does not say lag or lead; these runs show {} ({} to 1). Everything here is in {}.",
        convention_words(model.convention), odds_words(model.runs.mirror.log_odds),
        convention_words(model.convention)));
  if (model.basis == InfluenceModel::Basis::small_residual)
    warnings.push_back(
        "Baselines and coefficients suppose that weights in these planes can cancel most of the vibration, "
        "because the job says so (residual: small). Leave that out where something else than unbalance may "
        "be vibrating.");
  if (model.prior)
    warnings.push_back(
        "The coefficients come from " + source_words(model.prior->levels) +
        ", with what these runs add. Angles must mean the same as they did there: slot 1, the reference "
        "tooth, lag or lead.");
  if (model.prior && model.prior->levels) {
    warnings.push_back(levels_words(*model.prior->levels));
    for (const auto& one : model.prior->left_out)
      warnings.push_back("Not taken from " + one.name + ": " + one.why + ".");
  } else if (model.prior && model.prior->jobs < few_fleet_jobs) {
    warnings.push_back(fmt::format(
        "The prior was learned from {} jobs only: how far rotors of the type differ is hardly known from so "
        "few. Limits and probabilities are widened for it; teach it more jobs, or make a trial run.",
        model.prior->jobs));
  }
  if (model.prior && model.prior->fleet && model.prior->fleet->probability < belongs_to_fleet)
    warnings.push_back(
        fmt::format("This rotor's coefficients do not look like those of {} (probability {:.1g}): another "
                    "configuration, a wrong angle of slot 1, a sensor connected otherwise, or a reading or "
                    "weight written "
                    "down wrong.",
                    source_words(model.prior->levels), std::max(model.prior->fleet->probability, 1e-12)));
  for (auto& happened : event_words(job, model)) warnings.push_back(std::move(happened));
  for (const auto& run : job.runs)
    if (run.set_aside)
      warnings.push_back(fmt::format("Run \"{}\" is set aside: {}.", run.name, *run.set_aside));
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p)
    if (std::find(model.planes.begin(), model.planes.end(), p) == model.planes.end())
      warnings.push_back(fmt::format("No run changed the weights of plane \"{}\": it is not used.",
                                     job.rotor.planes[p].name));
  for (const auto& run : job.runs)
    for (const auto& one : run.missing)
      warnings.push_back(fmt::format("Not obtained, run \"{}\", {} at {:.0f} rpm{}.", run.name,
                                     job.rotor.sensors[one.sensor].name, one.rpm,
                                     one.note.empty() ? "" : ": " + one.note));
  for (const auto& run : job.runs) {
    std::map<std::string, int> notes;
    for (const auto& reading : run.readings)
      if (!reading.note.empty()) ++notes[reading.note];
    for (const auto& [note, readings] : notes)
      warnings.push_back(fmt::format("Run \"{}\", noted with {} of its {} readings: {}.", run.name, readings,
                                     run.readings.size(), note));
  }
  for (const auto& one : model.runs.left_out)
    warnings.push_back(fmt::format("Left out, run \"{}\", {}: {}.", job.runs[one.run].name,
                                   place_words(job, one.speed, one.sensor), one.why));
  for (const auto& one : model.unsettled)
    warnings.push_back(
        fmt::format("NOT PREDICTED: {} ({}).{}", place_words(job, one.speed, one.sensor), one.why, watch_it));
  for (const auto& finding : readiness(job).findings)
    if (is_of_the_job_file(finding.concern)) warnings.push_back(finding_words(job, finding));
  if (const auto spare = nothing_spare(job, model)) warnings.push_back(finding_words(job, *spare));
  if (model.runs.condition > large_condition)
    warnings.push_back(
        fmt::format("The runs hardly separate the planes (condition {:.0f}): small reading errors become "
                    "large weights.",
                    model.runs.condition));
  if (model.planes_condition > large_condition)
    warnings.push_back(
        fmt::format("The planes act almost alike at these speeds and sensors (condition {:.0f}): their "
                    "weights may fight each other; trim with fewer planes.",
                    model.planes_condition));
  if (fit_probability(model) < doubtful_fit) warnings.push_back(scatter_warning(model));
  if (model.runs.misfit_dof > 0 && fit_probability(model) > too_good_fit)
    warnings.push_back(
        fmt::format("The readings agree far better than the scatter that is stated of them lets expect "
                    "(chi-squared {:.2g}, where "
                    "{} is usual): {}",
                    model.runs.misfit, model.runs.misfit_dof, stated_too_large));
  return warnings;
}

}  // namespace trimwright

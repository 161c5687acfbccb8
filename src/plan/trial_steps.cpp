#include <fmt/format.h>

#include <algorithm>

#include "steps.hpp"
#include "trial_weights.hpp"
#include "trimwright/review.hpp"

namespace trimwright {
namespace {

/// The centrifugal force of the trial weight beside the rotor's weight.
std::string force_words(const Job& job, const TrialCandidate& trial) {
  std::string words =
      fmt::format("It pulls with {:.0f} N at {}", trial.force_n, speed_words(job, job.speeds_rpm.size() - 1));
  if (trial.force_share) words += fmt::format(", {:.1f} % of the rotor's weight", 100.0 * *trial.force_share);
  return words + ".";
}

/// Whether the model says, with its uncertainty, what a change in this plane does.
bool is_known(const InfluenceModel* model, std::size_t plane) {
  if (model == nullptr || !model->belief) return false;
  const auto& planes = model->belief->planes;
  return std::find(planes.begin(), planes.end(), plane) != planes.end();
}

/// `barred`: speeds at which no run is made.
std::vector<std::string> trial_warnings(const Job& job, const TrialCandidate& trial, bool known,
                                        const std::vector<std::size_t>& barred) {
  std::vector<std::string> warnings;
  if (!known && trial.force_share.value_or(0.0) > trial_force_share)
    warnings.push_back(fmt::format(
        "The trial weight pulls harder than {:.0f} % of the rotor's weight (common practice, no published "
        "source): take a lighter one, or stay below the highest speed.",
        100.0 * trial_force_share));
  for (const std::size_t speed : barred)
    warnings.push_back("At " + speed_words(job, speed) +
                       " a level is above its limit without the trial weight: do not run there.");
  return warnings;
}

}  // namespace

BalancePlan trial_steps(const Job& job, const SlotChange& change, const InfluenceModel* model) {
  const bool known = is_known(model, change.plane);
  BalancePlan plan;
  plan.kind = BalancePlan::Kind::trial;
  plan.cautions = cautions();
  plan.changes = {change};
  plan.expected =
      readings_to_take(job, known ? forecast(job, *model, fitted_after(job, plan.changes)).predictions
                                  : std::vector<Prediction>{});
  const auto barred = known ? std::vector<std::size_t>{} : speeds_above_limit(job);
  std::erase_if(plan.expected, [&](const ExpectedReading& one) {
    return std::find(barred.begin(), barred.end(), one.speed) != barred.end();
  });
  plan.steps = opening_steps(job);
  append(plan.steps, fitting_steps(job, plan.changes));
  append(plan.steps, running_steps(job, plan.expected, "stop above"));
  const TrialCandidate trial = candidate_of(job, change);
  for (auto& step : plan.steps)
    if (step.kind == StepKind::put_in) step.particulars.push_back(force_words(job, trial));
  plan.warnings = trial_warnings(job, trial, known, barred);
  plan.steps.push_back(
      {StepKind::if_it_differs,
       fmt::format("A trial weight may raise the vibration: approach each speed slowly and stop as "
                   "the table says. Where the place that it moves least changes by less than "
                   "{:.0f} % in amplitude and {:.0f}° in phase, that is too small to trust (common "
                   "practice, no published source): then use a heavier weight, where the limits "
                   "leave room. Enter the readings as a run of the job, with everything that was "
                   "fitted, and plan again.",
                   100.0 * least_amplitude_share, least_phase_deg),
       {},
       false});
  return plan;
}

BalancePlan no_trial_steps(const TrialAdvice& advice) {
  BalancePlan plan;
  plan.kind = BalancePlan::Kind::trial;
  plan.cautions = cautions();
  plan.steps = {{StepKind::do_nothing,
                 "Make no trial run. " + advice.reason +
                     (advice.can_be_completed ? " Plan the correction: trimwright plan."
                                              : " Inspect first, as the maker's manual says."),
                 {},
                 false}};
  return plan;
}

}  // namespace trimwright

#include "trimwright/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "runs/reading_now.hpp"
#include "steps.hpp"
#include "trim/time_words.hpp"

namespace trimwright {
namespace {

Step if_it_differs() {
  return {StepKind::if_it_differs,
          "If a reading differs, change nothing yet. In this order: were the slots counted from the right "
          "slot 1 and the "
          "right way round; is every piece on the list in, and is every piece that was to come out really "
          "out; are "
          "speed, unit and lag or lead "
          "those of the earlier runs; was the engine as warm. Then enter this run as one more run of the job "
          "and plan again.",
          {},
          false};
}

Step settle_first(const Trust& trusted) {
  return {StepKind::settle_first,
          trusted.words() +
              " Settle this first (trimwright influence and check tell what to look at), and plan again.",
          {},
          true};
}

/// Why a plan changes nothing: it was asked to, or nothing gains, or that is not known.
Step nothing_to_do(const TrimPlan& trim) {
  const auto above = std::count_if(trim.predictions.begin(), trim.predictions.end(),
                                   [](const Prediction& p) { return std::abs(p.after) > p.goal(); });
  const std::string left = above == 0   ? "Every expected reading meets its target."
                           : above == 1 ? "1 expected reading stays above its target."
                                        : fmt::format("{} expected readings stay above their target.", above);
  Step step{StepKind::do_nothing, {}, {}, false};
  if (trim.request.pieces && !trim.trade_off[trim.chosen].recommended) {
    step.instruction = "Nothing is changed, as asked; another row of the table is recommended. " + left;
  } else if (trim.nothing_found()) {
    step.instruction = fmt::format(
        "Fit nothing yet: the search was stopped too early, and there is no plan. Whether {} or more changes "
        "gain anything is open. {} {}",
        *trim.unsettled_from, run_again(trim.request), left);
  } else {
    step.instruction =
        "Fit nothing: no change of weights within those allowed makes a difference worth having. " + left;
  }
  return step;
}

Step moments_step(const Job& job, const TrimPlan& trim) {
  Step step{StepKind::put_in, "Add these moments to what is fitted now:", {}, false};
  for (const auto& part : trim.correction.parts)
    step.particulars.push_back(fmt::format(
        "{}: {} at {}", job.rotor.planes[part.plane].name, moment_words(std::abs(part.moment_to_add)),
        angle_position(job.rotor, RotorAngle::of(part.moment_to_add)).text()));
  return step;
}

}  // namespace

std::vector<ExpectedReading> readings_to_take(const Job& job, const std::vector<Prediction>& predictions) {
  std::vector<ExpectedReading> readings;
  for (const auto& place : places_to_run(job)) {
    ExpectedReading one{place.speed, place.sensor, {}, {}, place.limit, place.target, {}};
    if (const Reading* now = reading_now(job, place)) one.last_read = now->amplitude;
    if (const Prediction* known = prediction_at(predictions, place.speed, place.sensor)) {
      one.expected = known->after;
      one.differs_by = known->differs_by;
    }
    readings.push_back(one);
  }
  return readings;
}

BalancePlan plan_steps(const Job& job, const TrimPlan& trim) {
  BalancePlan plan;
  plan.cautions = cautions();
  plan.expected = readings_to_take(job, trim.predictions);
  if (trim.has_slots()) plan.changes = trim.trade_off[trim.chosen].changes;
  if (!trim.trust.sound()) plan.steps.push_back(settle_first(trim.trust));
  if (trim.has_slots() && plan.changes.empty()) {
    plan.steps.push_back(nothing_to_do(trim));
    return plan;
  }
  append(plan.steps, opening_steps(job));
  if (trim.has_slots()) {
    append(plan.steps, fitting_steps(job, plan.changes));
  } else {
    plan.steps.push_back(moments_step(job, trim));
    append(plan.steps, closing_checks({}));
  }
  append(plan.steps, running_steps(job, plan.expected, "limit"));
  plan.steps.push_back(if_it_differs());
  return plan;
}

}  // namespace trimwright

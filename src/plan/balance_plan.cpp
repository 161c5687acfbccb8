#include "trimwright/plan/balance_plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plan_words.hpp"

namespace trimwright {
namespace {

/// Two standard deviations of the difference between reading and prediction, per real component.
std::optional<double> surprise(const InfluenceModel& model, const Prediction& prediction) {
  if (!prediction.after_sd) return std::nullopt;
  const auto row = std::find_if(model.rows.begin(), model.rows.end(), [&](const InfluenceRow& r) {
    return r.speed == prediction.speed && r.sensor == prediction.sensor;
  });
  return 2.0 * std::numbers::sqrt2 * std::hypot(*prediction.after_sd, row->reading_sd.value_or(0.0));
}

Step if_it_differs() {
  return {StepKind::if_it_differs,
          "If a reading differs, change nothing yet. In this order: were the slots counted from the right "
          "slot 1 and the "
          "right way round; is every piece on the list in, and every piece taken out off; are speed, unit "
          "and lag or lead "
          "those of the earlier runs; was the engine as warm. Then enter this run as one more run of the job "
          "and plan again.",
          {},
          false};
}

/// Why a plan changes nothing: it was asked to, or nothing gains, or that is not known.
Step nothing_to_do(const TrimPlan& trim) {
  const auto above = std::count_if(trim.predictions.begin(), trim.predictions.end(), [](const Prediction& p) {
    return std::abs(p.after) > p.target.value_or(p.limit);
  });
  const std::string left = above == 0 ? "Every expected reading meets its target."
                                      : fmt::format("{} expected readings stay above their target.", above);
  Step step{StepKind::do_nothing, {}, {}, false};
  if (trim.request.pieces && !trim.trade_off[trim.chosen].recommended) {
    step.instruction = "Nothing is changed, as asked; another row of the table is recommended. " + left;
  } else if (trim.unsettled_from) {
    step.instruction = "No plan: the search ended before it found one. Run again with a longer --time-limit.";
  } else {
    step.instruction =
        "Fit nothing: no change of weights within those allowed makes a difference worth having. " + left;
  }
  return step;
}

Step moments_step(const Job& job, const TrimPlan& trim) {
  Step step{StepKind::put_in, "Add these moments to what is fitted now:", {}, false};
  for (const auto& part : trim.correction.parts)
    step.particulars.push_back(
        fmt::format("{}: {:.6g} g mm at {}", job.rotor.planes[part.plane].name, std::abs(part.moment_to_add),
                    angle_position(job.rotor, RotorAngle::of(part.moment_to_add)).text()));
  return step;
}

}  // namespace

BalancePlan plan_steps(const Job& job, const InfluenceModel& model, const TrimPlan& trim) {
  BalancePlan plan;
  plan.cautions = cautions();
  for (const auto& prediction : trim.predictions)
    plan.expected.push_back({prediction.speed, prediction.sensor, prediction.after,
                             surprise(model, prediction), prediction.limit, std::nullopt});
  for (const auto& row : model.unsettled)
    if (const auto* band = job.rotor.sensors[row.sensor].band_at(job.speeds_rpm[row.speed]))
      plan.expected.push_back({row.speed, row.sensor, std::nullopt, std::nullopt, band->limit, std::nullopt});
  std::stable_sort(plan.expected.begin(), plan.expected.end(), [](const auto& a, const auto& b) {
    return std::pair(a.speed, a.sensor) < std::pair(b.speed, b.sensor);
  });
  if (trim.has_slots()) plan.changes = trim.trade_off[trim.chosen].changes;
  if (trim.has_slots() && plan.changes.empty()) {
    plan.steps = {nothing_to_do(trim)};
    return plan;
  }
  plan.steps = opening_steps(job);
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

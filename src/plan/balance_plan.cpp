#include "trimwright/plan/balance_plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plan_words.hpp"

namespace trimwright {
namespace {

void append(std::vector<Step>& steps, std::vector<Step> more) {
  steps.insert(steps.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

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

/// Peak amplitude of the latest once-per-rev reading there, from a run that was not set aside.
std::optional<double> last_reading(const Job& job, std::size_t speed, std::size_t sensor) {
  std::optional<double> last;
  for (const auto& run : job.runs) {
    if (run.set_aside) continue;
    for (const auto& reading : run.readings)
      if (reading.speed == speed && reading.sensor == sensor && reading.component == Component::once_per_rev)
        last = reading.amplitude;
  }
  return last;
}

double force_newton(double moment_g_mm, double rpm) {
  const double omega = 2.0 * std::numbers::pi * rpm / 60.0;
  return moment_g_mm * 1e-6 * omega * omega;  // kg m times rad^2/s^2
}

/// How often the weight (or stack) can still be fitted; 1 where the stock is not counted.
int pieces_left(const Job& job, std::size_t plane_index, const Weight& weight) {
  const Plane& plane = job.rotor.planes[plane_index];
  std::optional<int> least;
  for (const auto& single : plane.weights) {
    const int needs = Plane::count_of(weight, single.id);
    if (!single.stack_of.empty() || needs == 0 || !single.stock) continue;
    const int left = *single.stock - pieces_fitted(plane, job.fitted_now[plane_index], single.id);
    least = std::min(least.value_or(left / needs), left / needs);
  }
  return least.value_or(1);
}

std::string catalogue_ids(const Plane& plane) {
  std::string ids;
  for (const auto& weight : plane.weights) ids += (ids.empty() ? "" : ", ") + weight.id;
  return ids;
}

Result<const Weight*> trial_weight(const Job& job, const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[choice.plane];
  if (choice.weight_id) {
    const Weight* weight = plane.find_weight(*choice.weight_id);
    if (weight == nullptr)
      return fail("plane \"" + plane.name + "\" has no weight \"" + *choice.weight_id + "\"",
                  "one of: " + catalogue_ids(plane));
    if (pieces_left(job, choice.plane, *weight) < 1)
      return fail("no piece of weight \"" + weight->id + "\" is left in stock", "a weight in stock");
    return weight;
  }
  if (!job.rotor.mass_kg)
    return fail("the trial weight cannot be advised: the rotor's mass is not known",
                "mass in the rotor file, or a trial weight named by you");
  const double allowed = trial_force_share * *job.rotor.mass_kg * 9.80665;
  const Weight* best = nullptr;
  for (const auto& weight : plane.weights)
    if (pieces_left(job, choice.plane, weight) > 0 &&
        force_newton(weight.moment_g_mm, job.speeds_rpm.back()) <= allowed &&
        (best == nullptr || weight.moment_g_mm > best->moment_g_mm))
      best = &weight;
  if (best == nullptr)
    return fail(
        fmt::format(
            "every weight in stock pulls harder than {:.0f} N (10 % of the rotor's weight) at {:.0f} rpm",
            allowed, job.speeds_rpm.back()),
        "a lighter weight in the catalogue, or a trial weight named by you");
  return best;
}

Result<int> trial_slot(const Job& job, const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[choice.plane];
  if (choice.slot) {
    if (plane.slots->usable(*choice.slot)) return *choice.slot;
    return fail(fmt::format("plane \"{}\" has no usable slot {}", plane.name, *choice.slot),
                fmt::format("1 to {} without the unusable ones", plane.slots->count));
  }
  std::optional<int> first;
  for (int slot = 1; slot <= plane.slots->count; ++slot) {
    if (!plane.slots->usable(slot) || job.fitted_now[choice.plane].slots.contains(slot)) continue;
    if (!first || plane.slots->angle(slot).degrees() < plane.slots->angle(*first).degrees()) first = slot;
  }
  if (!first)
    return fail("every usable slot of plane \"" + plane.name + "\" holds a weight", "a slot named by you");
  return *first;
}

}  // namespace

BalancePlan plan_steps(const Job& job, const InfluenceModel& model, const TrimPlan& trim) {
  BalancePlan plan;
  plan.cautions = cautions();
  for (const auto& prediction : trim.predictions)
    plan.expected.push_back({prediction.speed, prediction.sensor, prediction.after,
                             surprise(model, prediction), prediction.limit, std::nullopt});
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
  append(plan.steps, running_steps(job, plan.expected));
  plan.steps.push_back(if_it_differs());
  return plan;
}

Result<SlotChange> choose_trial(const Job& job, const TrialChoice& choice) {
  const Plane& plane = job.rotor.planes[choice.plane];
  if (!plane.slots || plane.weights.empty())
    return fail("plane \"" + plane.name + "\" has no slots or no catalogue",
                "a plane with slots and weights");
  if (job.speeds_rpm.empty())
    return fail("the job has no reading, so nobody knows at which speeds to run",
                "the readings of a baseline run");
  const auto slot = trial_slot(job, choice);
  if (!slot) return tl::unexpected(slot.error());
  const auto weight = trial_weight(job, choice);
  if (!weight) return tl::unexpected(weight.error());
  SlotChange change{choice.plane, *slot, std::nullopt, Piece{(*weight)->id, (*weight)->moment_g_mm}};
  const auto& fitted = job.fitted_now[choice.plane].slots;
  if (const auto held = fitted.find(*slot); held != fitted.end()) change.remove = held->second;
  return change;
}

namespace {

/// The centrifugal force of the trial weight beside the rotor's weight.
std::string force_words(const Job& job, const SlotChange& change) {
  const double force = force_newton(change.fit->moment_g_mm, job.speeds_rpm.back());
  std::string words = fmt::format("It pulls with {:.0f} N at {:.0f} rpm", force, job.speeds_rpm.back());
  if (job.rotor.mass_kg)
    words += fmt::format(", {:.1f} % of the rotor's weight", 100.0 * force / (*job.rotor.mass_kg * 9.80665));
  return words + ".";
}

std::vector<std::string> trial_warnings(const Job& job, const BalancePlan& plan) {
  std::vector<std::string> warnings;
  const double force = force_newton(plan.changes.front().fit->moment_g_mm, job.speeds_rpm.back());
  if (job.rotor.mass_kg && force > trial_force_share * *job.rotor.mass_kg * 9.80665)
    warnings.push_back(
        "The trial weight pulls harder than 10 % of the rotor's weight (common practice, no published "
        "source): take a lighter one, or stay below the highest speed.");
  for (const auto& one : plan.expected)
    if (one.last_read && *one.last_read > one.stop_above)
      warnings.push_back(
          fmt::format("{} at {:.0f} rpm is above its stop level without the trial weight: do not run there.",
                      job.rotor.sensors[one.sensor].name, job.speeds_rpm[one.speed]));
  return warnings;
}

}  // namespace

BalancePlan trial_steps(const Job& job, const SlotChange& change) {
  BalancePlan plan;
  plan.kind = BalancePlan::Kind::trial;
  plan.cautions = cautions();
  plan.changes = {change};
  for (std::size_t sensor = 0; sensor < job.rotor.sensors.size(); ++sensor)
    for (std::size_t speed = 0; speed < job.speeds_rpm.size(); ++speed)
      if (const auto* band = job.rotor.sensors[sensor].band_at(job.speeds_rpm[speed]))
        plan.expected.push_back(
            {speed, sensor, std::nullopt, std::nullopt, band->limit, last_reading(job, speed, sensor)});
  std::sort(plan.expected.begin(), plan.expected.end(), [](const auto& a, const auto& b) {
    return std::pair(a.speed, a.sensor) < std::pair(b.speed, b.sensor);
  });
  plan.steps = opening_steps(job);
  append(plan.steps, fitting_steps(job, plan.changes));
  append(plan.steps, running_steps(job, plan.expected));
  for (auto& step : plan.steps)
    if (step.kind == StepKind::put_in) step.particulars.push_back(force_words(job, change));
  plan.warnings = trial_warnings(job, plan);
  plan.steps.push_back({StepKind::if_it_differs,
                        "A trial weight may raise the vibration: approach each speed slowly and stop as the "
                        "table says. A change below "
                        "30 % in amplitude and 30° in phase is too small to trust (common practice, no "
                        "published source): then use a "
                        "heavier weight. Enter the readings as a run of the job, with everything that was "
                        "fitted, and plan again.",
                        {},
                        false});
  return plan;
}

}  // namespace trimwright

#include "trimwright/files.hpp"

#include "json_parts.hpp"
#include "report/model_warnings.hpp"

namespace trimwright {
namespace {

Json changes_json(const Job& job, const std::vector<SlotChange>& changes) {
  Json list = Json::array();
  for (const auto& change : changes) {
    const Plane& plane = job.rotor.planes[change.plane];
    const auto position = slot_position(job.rotor, plane, change.slot);
    list.push_back({{"plane", plane.name},
                    {"slot", change.slot},
                    {"remove", piece_json(change.remove)},
                    {"fit", piece_json(change.fit)},
                    {"angle_deg", position.angle.degrees()},
                    {"blade_position", position.blade}});
  }
  return list;
}

/// Parts of the scatter about the expected reading, as the sensor's readings are written.
Json scatter_json(const Sensor& sensor, const std::optional<ScatterParts>& parts) {
  if (!parts) return nullptr;
  const auto seen = [&](double peak) { return sensor.unit.shown_from_peak(peak); };
  return {{"model", seen(parts->model)},
          {"within", seen(parts->within)},
          {"run_to_run", seen(parts->run_to_run)},
          {"proportional", seen(parts->proportional)},
          {"fitting", seen(parts->fitting)}};
}

Json predicted_json(const Job& job, const std::vector<Prediction>& predictions) {
  Json list = Json::array();
  for (const auto& p : predictions) {
    const Sensor& sensor = job.rotor.sensors[p.sensor];
    const auto before = shown(sensor, p.before, job.rotor.phase);
    const auto after = shown(sensor, p.after, job.rotor.phase);
    const auto seen = [&](const std::optional<double>& peak) {
      return peak ? Json(sensor.unit.shown_from_peak(*peak)) : Json(nullptr);
    };
    Json entry = place_json(job, p.speed, p.sensor);
    entry.update({{"unit", sensor.unit.text()},
                  {"before", before.amplitude},
                  {"before_phase_deg", before.phase_deg},
                  {"after", after.amplitude},
                  {"after_phase_deg", after.phase_deg},
                  {"after_sd", seen(p.after_sd)},
                  {"reading_low", p.reading ? seen(p.reading->low) : Json(nullptr)},
                  {"reading_high", p.reading ? seen(p.reading->high) : Json(nullptr)},
                  {"below_limit", p.reading ? Json(p.reading->below_limit) : Json(nullptr)},
                  {"below_target", p.reading ? Json(p.reading->below_target) : Json(nullptr)},
                  {"differs_by", seen(p.differs_by)},
                  {"scatter", scatter_json(sensor, p.parts)},
                  {"limit", seen(p.limit)},
                  {"target", seen(p.target)}});
    list.push_back(std::move(entry));
  }
  return list;
}

/// That each of so many readings of the next run stays below its limit, and below its target.
Json probability_json(const std::optional<Outlook>& outlook) {
  if (!outlook) return nullptr;
  return {{"meets_limits", outlook->meets_limits},
          {"meets_targets", outlook->meets_targets},
          {"readings", outlook->readings.size()}};
}

Json not_predicted_json(const Job& job, const TrimPlan& trim) {
  Json list = Json::array();
  for (const auto& one : trim.not_predicted) {
    list.push_back(place_json(job, one.place.speed, one.place.sensor));
    list.back()["why"] = one.why;
  }
  return list;
}

Json trade_off_json(const Job& job, const std::vector<TradeOffRow>& rows) {
  Json list = Json::array();
  for (const auto& row : rows)
    list.push_back({{"pieces_changed", row.changes.size()},
                    {"worst_ratio", row.worst_ratio},
                    {"root_of_squares", row.root_of_squares},
                    {"objective", row.objective},
                    {"bound", row.bound},
                    {"gap", row.gap()},
                    {"proved_optimal", row.proved_optimal},
                    {"by_chance", row.by_chance},
                    {"without_opposed", row.without_opposed},
                    {"recommended", row.recommended},
                    {"probability", probability_json(row.outlook)},
                    {"slots", changes_json(job, row.changes)}});
  return list;
}

std::string step_name(StepKind kind) {
  switch (kind) {
    case StepKind::settle_first:
      return "settle_first";
    case StepKind::make_safe:
      return "make_safe";
    case StepKind::confirm_numbering:
      return "confirm_numbering";
    case StepKind::count_fitted:
      return "count_fitted";
    case StepKind::take_out:
      return "take_out";
    case StepKind::put_in:
      return "put_in";
    case StepKind::second_check:
      return "second_check";
    case StepKind::torque_and_locking:
      return "torque_and_locking";
    case StepKind::run:
      return "run";
    case StepKind::compare:
      return "compare";
    case StepKind::stop_levels:
      return "stop_levels";
    case StepKind::if_it_differs:
      return "if_it_differs";
    case StepKind::do_nothing:
      return "do_nothing";
  }
  return {};
}

Json steps_json(const BalancePlan& plan) {
  Json list = Json::array();
  for (const auto& step : plan.steps)
    list.push_back({{"step", step_name(step.kind)},
                    {"instruction", step.instruction},
                    {"particulars", step.particulars},
                    {"sign", step.sign}});
  return list;
}

Json candidates_json(const Job& job, const std::vector<TrialCandidate>& candidates) {
  Json list = Json::array();
  for (const auto& one : candidates) {
    Json entry = changes_json(job, {one.change}).front();
    entry["force_n"] = one.force_n;
    entry["force_share"] = or_null(one.force_share);
    entry["variance_left"] = or_null(one.variance_left);
    entry["exceeds_limit"] = or_null(one.exceeds_limit);
    entry["meets_targets"] = or_null(one.meets_targets);
    entry["headroom_share"] = or_null(one.headroom_share);
    list.push_back(std::move(entry));
  }
  return list;
}

/// Runs that are owed anyway; numbers are null where nothing can be said.
Json owed_json(const Job& job, const TrialAdvice& advice) {
  Json list = Json::array();
  for (const auto& one : advice.owed) {
    const bool known = one.runs_as_it_stands > 0.0;
    const auto number = [known](double value) { return known ? Json(value) : Json(nullptr); };
    list.push_back({{"run", one.run.name},
                    {"speeds_rpm", one.run.speeds_rpm},
                    {"worth_making", one.worth_making},
                    {"planned_correction", one.correction},
                    {"candidates", candidates_json(job, one.candidates)},
                    {"runs_as_it_stands", number(one.runs_as_it_stands)},
                    {"runs_after", number(one.runs_after)},
                    {"saves", number(one.saves())},
                    {"reason", one.reason}});
  }
  return list;
}

std::string dumped(const Json& json) { return json.dump(2) + "\n"; }

}  // namespace

std::string plan_json(const Job& job, const InfluenceModel& model, const TrimPlan& trim,
                      const BalancePlan& plan) {
  Json json = document_header("plan", job);
  json["objective"] = trim.request.most_probable                             ? "probability"
                      : trim.request.objective == SlotObjective::worst_ratio ? "worst ratio"
                                                                             : "least squares";
  json["fit_nothing_yet"] = trim.trust.sound() ? Json(nullptr) : Json(trim.trust.why);
  json["correction"] = correction_json(job, trim.correction);
  json["correction_worst_ratio"] = trim.correction.worst_ratio;
  json["slots"] = changes_json(job, plan.changes);
  json["predicted"] = predicted_json(job, trim.predictions);
  json["worst_ratio"] = trim.worst_ratio;
  json["bound"] = trim.bound;
  const TradeOffRow* chosen = trim.has_slots() ? &trim.trade_off[trim.chosen] : nullptr;
  json["proved_optimal"] = chosen == nullptr || chosen->proved_optimal;
  json["gap"] = chosen == nullptr ? 0.0 : chosen->gap();
  json["probability"] = probability_json(trim.outlook);
  json["trade_off"] = trade_off_json(job, trim.trade_off);
  json["why"] = trim.why;
  for (std::size_t i = 0; i < trim.trade_off.size(); ++i) json["trade_off"][i]["chosen"] = i == trim.chosen;
  json["alternatives"] = trade_off_json(job, trim.alternatives);
  json["other_trade_off"] = trade_off_json(job, trim.other_trade_off);
  json["unsettled_from"] = or_null(trim.unsettled_from);
  json["steps"] = steps_json(plan);
  json["expected"] = expected_json(job, plan.expected);
  json["not_predicted"] = not_predicted_json(job, trim);
  json["warnings"] = model_warnings(job, model);
  json["notes"] = trim.notes;
  json["cautions"] = plan.cautions;
  return dumped(json);
}

std::string trial_json(const Job& job, const TrialAdvice& advice, const BalancePlan& plan) {
  Json json = document_header("trial", job);
  json["worth_making"] = advice.worth_making;
  json["reason"] = advice.reason;
  json["correction_at_once"] = nullptr;
  if (advice.at_once)
    json["correction_at_once"] = {{"meets_targets", advice.at_once->meets_targets},
                                  {"exceeds_limit", advice.at_once->exceeds_limit},
                                  {"expected_runs", advice.at_once->expected_runs}};
  json["expected_runs"] = or_null(advice.expected_runs);
  json["slots"] = changes_json(job, plan.changes);
  json["candidates"] = candidates_json(job, advice.candidates);
  json["owed_runs"] = owed_json(job, advice);
  json["steps"] = steps_json(plan);
  json["expected"] = expected_json(job, plan.expected);
  json["warnings"] = plan.warnings;
  json["notes"] = advice.notes;
  json["cautions"] = plan.cautions;
  return dumped(json);
}

}  // namespace trimwright

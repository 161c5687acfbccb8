#include "trimwright/io/json_documents.hpp"

#include <cmath>

#include "json_parts.hpp"
#include "trimwright/influence/influence_review.hpp"
#include "trimwright/report/model_warnings.hpp"
#include "trimwright/report/review_words.hpp"
#include "trimwright/trim/suspect_effect.hpp"

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

Json correction_json(const Job& job, const Correction& correction) {
  Json list = Json::array();
  for (const auto& part : correction.parts)
    list.push_back({{"plane", job.rotor.planes[part.plane].name},
                    {"moment_to_add_g_mm", std::abs(part.moment_to_add)},
                    {"angle_deg", RotorAngle::of(part.moment_to_add).degrees()}});
  return list;
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
    list.push_back({{"speed_rpm", job.speeds_rpm[p.speed]},
                    {"sensor", sensor.name},
                    {"unit", sensor.unit.text()},
                    {"before", before.amplitude},
                    {"before_phase_deg", before.phase_deg},
                    {"after", after.amplitude},
                    {"after_phase_deg", after.phase_deg},
                    {"after_sd", seen(p.after_sd)},
                    {"reading_low", p.reading ? seen(p.reading->low) : Json(nullptr)},
                    {"reading_high", p.reading ? seen(p.reading->high) : Json(nullptr)},
                    {"below_limit", p.reading ? Json(p.reading->below_limit) : Json(nullptr)},
                    {"below_target", p.reading ? Json(p.reading->below_target) : Json(nullptr)},
                    {"limit", seen(p.limit)},
                    {"target", seen(p.target)}});
  }
  return list;
}

/// That every reading of the next run stays below its limit, and below its target.
Json probability_json(const std::optional<Outlook>& outlook) {
  if (!outlook) return nullptr;
  return {{"meets_limits", outlook->meets_limits}, {"meets_targets", outlook->meets_targets}};
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
                    {"recommended", row.recommended},
                    {"probability", probability_json(row.outlook)},
                    {"slots", changes_json(job, row.changes)}});
  return list;
}

std::string step_name(StepKind kind) {
  switch (kind) {
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

Json expected_json(const Job& job, const BalancePlan& plan) {
  Json list = Json::array();
  for (const auto& one : plan.expected) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    Json entry = {
        {"speed_rpm", job.speeds_rpm[one.speed]}, {"sensor", sensor.name}, {"unit", sensor.unit.text()}};
    const auto seen =
        one.expected ? std::optional(shown(sensor, *one.expected, job.rotor.phase)) : std::nullopt;
    entry["amplitude"] = seen ? Json(seen->amplitude) : Json(nullptr);
    entry["phase_deg"] = seen ? Json(seen->phase_deg) : Json(nullptr);
    entry["last_read"] = one.last_read ? Json(sensor.unit.shown_from_peak(*one.last_read)) : Json(nullptr);
    entry["differs_by"] = one.differs_by ? Json(sensor.unit.shown_from_peak(*one.differs_by)) : Json(nullptr);
    entry["stop_above"] = sensor.unit.shown_from_peak(one.stop_above);
    list.push_back(std::move(entry));
  }
  return list;
}

std::string source_name(NoisePart::Source source) {
  switch (source) {
    case NoisePart::Source::stated:
      return "stated";
    case NoisePart::Source::estimated:
      return "estimated";
    case NoisePart::Source::unknown:
      break;
  }
  return "unknown";
}

Json number_or_null(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }

/// The noise parts of each sensor, as its readings are written; null where none is known.
Json noise_json(const Job& job, const InfluenceModel& model) {
  if (!model.posterior) return nullptr;
  const NoiseModel& noise = model.posterior->noise;
  Json sensors = Json::array();
  for (std::size_t s = 0; s < noise.sensors.size(); ++s) {
    const Sensor& sensor = job.rotor.sensors[s];
    const auto part = [&](const NoisePart& one) {
      return Json{{"sd", sensor.unit.shown_from_peak(one.sd)}, {"source", source_name(one.source)}};
    };
    sensors.push_back({{"sensor", sensor.name},
                       {"unit", sensor.unit.text()},
                       {"within", part(noise.sensors[s].within)},
                       {"run_to_run", part(noise.sensors[s].run_to_run)},
                       {"proportional", noise.sensors[s].proportional}});
  }
  return {{"sensors", sensors},
          {"degrees_of_freedom", number_or_null(noise.degrees_of_freedom)},
          {"widened", noise.widened}};
}

Json review_json(const Job& job, const InfluenceModel& model) {
  const InfluenceReview review = review_influence(job, model);
  Json readings = Json::array(), runs = Json::array(), trials = Json::array();
  for (const auto& one : review.readings)
    readings.push_back({{"run", job.runs[one.run].name},
                        {"speed_rpm", job.speeds_rpm[one.speed]},
                        {"sensor", job.rotor.sensors[one.sensor].name},
                        {"leverage", one.leverage},
                        {"studentised", or_null(one.studentised)},
                        {"probability", one.probability},
                        {"suspect", one.suspect}});
  for (const auto& one : review.runs)
    runs.push_back({{"run", job.runs[one.run].name},
                    {"components", one.components},
                    {"distance", one.distance},
                    {"probability", one.probability},
                    {"suspect", one.suspect}});
  for (const auto& one : review.trials)
    trials.push_back({{"run", job.runs[one.run].name},
                      {"amplitude_share", one.amplitude_share},
                      {"phase_deg", one.phase_deg},
                      {"too_small", one.too_small()}});
  Json alike_planes = Json::array();
  for (const auto& one : review.alike_planes)
    alike_planes.push_back({{"planes", {job.rotor.planes[one.first].name, job.rotor.planes[one.second].name}},
                            {"sensor", job.rotor.sensors[one.sensor].name},
                            {"from_rpm", job.speeds_rpm[one.from]},
                            {"to_rpm", job.speeds_rpm[one.to]},
                            {"cosine", one.cosine}});
  Json linearity = nullptr, without = nullptr;
  if (const auto& test = review.lack_of_fit)
    linearity = {{"f", test->f},
                 {"fit_degrees_of_freedom", test->fit_dof},
                 {"repeat_degrees_of_freedom", test->pure_dof},
                 {"probability", test->probability}};
  if (const auto effect = effect_of_suspects(job, model, review); effect && effect->without)
    without = correction_json(job, *effect->without);
  const auto& values = review.singular_values;
  return {{"readings", readings},
          {"runs", runs},
          {"trials", trials},
          {"singular_values", std::vector<double>(values.begin(), values.end())},
          {"alike", alike_planes},
          {"lack_of_fit", linearity},
          {"repeat", what_to_repeat(job, model, review)},
          {"correction_without_suspects", without}};
}

Json fleet_json(const InfluenceModel& model) {
  if (!model.fleet) return nullptr;
  return {{"distance", model.fleet->distance},
          {"components", model.fleet->components},
          {"degrees_of_freedom", number_or_null(model.fleet->degrees_of_freedom)},
          {"probability", model.fleet->probability}};
}

std::string mirror_name(MirrorTest::Outcome outcome) {
  switch (outcome) {
    case MirrorTest::Outcome::cannot_tell:
      return "cannot_tell";
    case MirrorTest::Outcome::supports_given:
      return "supports_given";
    case MirrorTest::Outcome::contradicts:
      return "contradicts";
    case MirrorTest::Outcome::neither_fits:
      return "neither_fits";
  }
  return {};
}

Json coefficients_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& row : model.rows) {
    const Sensor& sensor = job.rotor.sensors[row.sensor];
    for (std::size_t p = 0; p < model.planes.size(); ++p) {
      const auto seen = shown(sensor, row.coefficients(static_cast<Eigen::Index>(p)), model.convention);
      const auto sd = coefficient_sd(model, row, p);
      list.push_back({{"speed_rpm", job.speeds_rpm[row.speed]},
                      {"sensor", sensor.name},
                      {"plane", job.rotor.planes[model.planes[p]].name},
                      {"amplitude", seen.amplitude},
                      {"phase_deg", seen.phase_deg},
                      {"sd", sd ? Json(sensor.unit.shown_from_peak(*sd)) : Json(nullptr)},
                      {"unit", sensor.unit.text() + " per g.mm"}});
    }
  }
  return list;
}

Json baselines_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& row : model.rows) {
    const Sensor& sensor = job.rotor.sensors[row.sensor];
    const auto seen = shown(sensor, row.baseline, model.convention);
    list.push_back({{"speed_rpm", job.speeds_rpm[row.speed]},
                    {"sensor", sensor.name},
                    {"amplitude", seen.amplitude},
                    {"phase_deg", seen.phase_deg},
                    {"unit", sensor.unit.text()},
                    {"readings", row.readings},
                    {"spare_readings", row.spare}});
  }
  return list;
}

Json residuals_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& row : model.rows) {
    const Sensor& sensor = job.rotor.sensors[row.sensor];
    for (const auto& one : row.fit) {
      const auto read = shown(sensor, one.read, model.convention);
      const auto fitted = shown(sensor, one.fitted, model.convention);
      const double off = std::abs(one.read - one.fitted);
      const bool judged = row.spare > 0 && row.reading_sd && *row.reading_sd > 0.0;
      list.push_back({{"run", job.runs[one.run].name},
                      {"speed_rpm", job.speeds_rpm[row.speed]},
                      {"sensor", sensor.name},
                      {"unit", sensor.unit.text()},
                      {"read", read.amplitude},
                      {"read_phase_deg", read.phase_deg},
                      {"fitted", fitted.amplitude},
                      {"fitted_phase_deg", fitted.phase_deg},
                      {"off_by_sd", judged ? Json(off / *row.reading_sd) : Json(nullptr)}});
    }
  }
  return list;
}

Json runs_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const std::size_t run : model.runs_used) {
    const auto unbalance = run_unbalance(job, run);
    for (const std::size_t p : model.planes)
      list.push_back({{"run", job.runs[run].name},
                      {"plane", job.rotor.planes[p].name},
                      {"moment_g_mm", std::abs(unbalance[p])},
                      {"angle_deg", RotorAngle::of(unbalance[p]).degrees()}});
  }
  return list;
}

Json left_out_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& one : model.left_out)
    list.push_back({{"run", job.runs[one.run].name},
                    {"speed_rpm", job.speeds_rpm[one.speed]},
                    {"sensor", job.rotor.sensors[one.sensor].name},
                    {"why", one.why}});
  for (const auto& run : job.runs)
    for (const auto& one : run.missing)
      list.push_back({{"run", run.name},
                      {"speed_rpm", one.rpm},
                      {"sensor", job.rotor.sensors[one.sensor].name},
                      {"why", one.note.empty() ? "not obtained" : "not obtained: " + one.note}});
  return list;
}

Json not_predicted_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& one : model.unsettled)
    list.push_back({{"speed_rpm", job.speeds_rpm[one.speed]},
                    {"sensor", job.rotor.sensors[one.sensor].name},
                    {"why", one.why}});
  return list;
}

Json candidates_json(const Job& job, const TrialAdvice& advice) {
  Json list = Json::array();
  for (const auto& one : advice.candidates) {
    Json entry = changes_json(job, {one.change}).front();
    entry["force_n"] = one.force_n;
    entry["force_share"] = or_null(one.force_share);
    entry["variance_left"] = or_null(one.variance_left);
    entry["exceeds_limit"] = or_null(one.exceeds_limit);
    entry["meets_targets"] = or_null(one.meets_targets);
    list.push_back(std::move(entry));
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
  for (std::size_t i = 0; i < trim.trade_off.size(); ++i) json["trade_off"][i]["chosen"] = i == trim.chosen;
  json["alternatives"] = trade_off_json(job, trim.alternatives);
  json["other_trade_off"] = trade_off_json(job, trim.other_trade_off);
  json["unsettled_from"] = or_null(trim.unsettled_from);
  json["steps"] = steps_json(plan);
  json["expected"] = expected_json(job, plan);
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
  json["candidates"] = candidates_json(job, advice);
  json["steps"] = steps_json(plan);
  json["expected"] = expected_json(job, plan);
  json["warnings"] = plan.warnings;
  json["notes"] = advice.notes;
  json["cautions"] = plan.cautions;
  return dumped(json);
}

std::string influence_json(const Job& job, const InfluenceModel& model) {
  Json json = document_header("influence", job);
  json["coefficients"] = coefficients_json(job, model);
  json["baselines"] = baselines_json(job, model);
  json["rank"] = model.rank;
  json["condition"] = model.condition;
  json["planes_condition"] = model.planes_condition;
  json["mirror_test"] = {{"outcome", mirror_name(model.mirror.outcome)},
                         {"log_odds", model.mirror.log_odds},
                         {"phase_found_by_runs", model.convention_found}};
  json["noise"] = noise_json(job, model);
  json["prior_used"] = model.with_prior;
  json["small_residual"] = model.small_residual;
  json["fleet"] = fleet_json(model);
  json["review"] = review_json(job, model);
  json["residuals"] = residuals_json(job, model);
  json["runs"] = runs_json(job, model);
  json["left_out"] = left_out_json(job, model);
  json["not_predicted"] = not_predicted_json(job, model);
  json["chi_squared"] = {{"value", model.chi_squared},
                         {"degrees_of_freedom", model.chi_squared_dof},
                         {"probability", fit_probability(model)}};
  json["warnings"] = model_warnings(job, model);
  json["cautions"] = cautions();
  return dumped(json);
}

std::string tolerance_json(double rpm) {
  Json json = {{"trimwright", "tolerance 1"},
               {"speed_rpm", rpm},
               {"standard", "ISO 21940-11"},
               {"grades", Json::array()}};
  for (const double grade : balance_quality_grades())
    json["grades"].push_back(
        {{"grade_mm_s", grade}, {"permissible_g_mm_per_kg", permissible_specific_unbalance(grade, rpm)}});
  json["cautions"] = cautions();
  return dumped(json);
}

}  // namespace trimwright

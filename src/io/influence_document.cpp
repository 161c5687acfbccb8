#include <cmath>
#include <numbers>

#include "influence/events.hpp"
#include "json_parts.hpp"
#include "report/model_warnings.hpp"
#include "report/review_words.hpp"
#include "trimwright/files.hpp"
#include "trimwright/influence.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {
namespace {

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
      const bool known = one.source != NoisePart::Source::unknown;
      return Json{{"sd", known ? Json(sensor.unit.shown_from_peak(one.sd)) : Json(nullptr)},
                  {"source", source_name(one.source)}};
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
  for (const auto& one : review.readings) {
    readings.push_back({{"run", job.runs[one.run].name},
                        {"speed_rpm", job.speeds_rpm[one.speed]},
                        {"sensor", job.rotor.sensors[one.sensor].name},
                        {"leverage", one.leverage},
                        {"studentised", or_null(one.studentised)},
                        {"probability", one.probability},
                        {"suspect", one.suspect}});
    tell_state(readings.back(), state_at(job, one.speed));
  }
  for (const auto& one : review.runs)
    runs.push_back({{"run", job.runs[one.run].name},
                    {"components", one.components},
                    {"distance", one.distance},
                    {"probability", one.probability},
                    {"suspect", one.suspect}});
  for (const auto& one : review.trials) {
    trials.push_back({{"run", job.runs[one.run].name},
                      {"speed_rpm", job.speeds_rpm[one.speed]},
                      {"sensor", job.rotor.sensors[one.sensor].name},
                      {"amplitude_share", one.amplitude_share},
                      {"phase_deg", one.phase_deg},
                      {"too_small", one.too_small()}});
    tell_state(trials.back(), state_at(job, one.speed));
  }
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
  if (!model.prior || !model.prior->fleet) return nullptr;
  return {{"distance", model.prior->fleet->distance},
          {"components", model.prior->fleet->components},
          {"degrees_of_freedom", number_or_null(model.prior->fleet->degrees_of_freedom)},
          {"probability", model.prior->fleet->probability}};
}

std::string convention_name(Convention one) {
  switch (one) {
    case Convention::declared:
      return "declared";
    case Convention::phase:
      return "phase";
    case Convention::slots_counted:
      return "slots_counted";
    case Convention::slot_1:
      return "slot_1";
    case Convention::viewing_end:
      return "viewing_end";
  }
  return {};
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
      tell_state(list.back(), state_at(job, row.speed));
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
    tell_state(list.back(), state_at(job, row.speed));
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
      const bool judged = row.spare > 0 && row.reading_sd && one.sd > 0.0;
      list.push_back({{"run", job.runs[one.run].name},
                      {"speed_rpm", job.speeds_rpm[row.speed]},
                      {"sensor", sensor.name},
                      {"unit", sensor.unit.text()},
                      {"read", read.amplitude},
                      {"read_phase_deg", read.phase_deg},
                      {"fitted", fitted.amplitude},
                      {"fitted_phase_deg", fitted.phase_deg},
                      {"off_by_sd", judged ? Json(off / one.sd) : Json(nullptr)}});
      tell_state(list.back(), state_at(job, row.speed));
    }
  }
  return list;
}

/// Figures of the events that turn or scale readings, angles as phases are written.
Json events_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  if (!model.posterior) return list;
  const double written = model.convention == PhaseConvention::lead ? 1.0 : -1.0;
  const double microseconds = -1e6 / highest_angular_speed(job);
  for (const auto& part : model.posterior->events) {
    using Of = EventPart::Of;
    const bool of_sensor = part.of == Of::log_size || part.of == Of::turn;
    const double ratio = std::exp(part.value);
    const double unit = part.of == Of::delay ? microseconds : written * 180.0 / std::numbers::pi;
    const bool known = part.stated || part.sd > 0.0;
    const auto whole = whole_teeth(job, part);
    list.push_back({{"run", job.runs[part.run].name},
                    {"what", part.of == Of::angle      ? "reference_angle_deg"
                             : part.of == Of::delay    ? "delay_us"
                             : part.of == Of::log_size ? "sensor_ratio"
                                                       : "sensor_angle_deg"},
                    {"sensor", of_sensor ? Json(job.rotor.sensors[part.sensor].name) : Json()},
                    {"stated", part.stated},
                    {"value", !known                    ? Json()
                              : part.of == Of::log_size ? Json(ratio)
                                                        : Json(unit * part.value)},
                    {"sd", !known                    ? Json()
                           : part.of == Of::log_size ? Json(ratio * part.sd)
                                                     : Json(std::abs(unit) * part.sd)},
                    {"whole_teeth", !whole ? Json()
                                           : Json({{"teeth", static_cast<int>(written) * whole->teeth},
                                                   {"probability", whole->probability},
                                                   {"none", whole->none}})}});
  }
  return list;
}

Json runs_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const std::size_t run : model.runs.used) {
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
  for (const auto& one : model.runs.left_out) {
    list.push_back({{"run", job.runs[one.run].name},
                    {"speed_rpm", job.speeds_rpm[one.speed]},
                    {"sensor", job.rotor.sensors[one.sensor].name},
                    {"why", one.why}});
    tell_state(list.back(), state_at(job, one.speed));
  }
  for (const auto& run : job.runs)
    for (const auto& one : run.missing) {
      list.push_back({{"run", run.name},
                      {"speed_rpm", one.rpm},
                      {"sensor", job.rotor.sensors[one.sensor].name},
                      {"why", one.note.empty() ? "not obtained" : "not obtained: " + one.note}});
      tell_state(list.back(), one.state);
    }
  return list;
}

Json not_predicted_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& one : model.unsettled) {
    list.push_back({{"speed_rpm", job.speeds_rpm[one.speed]},
                    {"sensor", job.rotor.sensors[one.sensor].name},
                    {"why", one.why}});
    tell_state(list.back(), state_at(job, one.speed));
  }
  return list;
}

/// What a prior made for this rotor rests on, or null.
Json earlier_json(const InfluenceModel& model) {
  if (!model.prior || !model.prior->levels) return nullptr;
  const PriorLevels& levels = *model.prior->levels;
  Json jobs = Json::array(), left_out = Json::array();
  for (const auto& one : levels.parts)
    jobs.push_back({{"job", one.name},
                    {"date", one.date.empty() ? Json(nullptr) : Json(one.date)},
                    {"same_serial", one.own},
                    {"share", one.share}});
  for (const auto& one : model.prior->left_out) left_out.push_back({{"job", one.name}, {"why", one.why}});
  return {{"jobs", jobs},
          {"own_share", levels.own_share()},
          {"rotors_told", levels.rotors_told},
          {"visits_told", levels.visits_told},
          {"left_out", left_out}};
}

}  // namespace

std::string influence_json(const Job& job, const InfluenceModel& model) {
  Json json = document_header("influence", job);
  json["coefficients"] = coefficients_json(job, model);
  json["baselines"] = baselines_json(job, model);
  json["rank"] = model.runs.rank;
  json["condition"] = model.runs.condition;
  json["planes_condition"] = model.planes_condition;
  json["mirror_test"] = {{"outcome", mirror_name(model.runs.mirror.outcome)},
                         {"log_odds", model.runs.mirror.log_odds},
                         {"phase_found_by_runs", model.convention_found}};
  json["noise"] = noise_json(job, model);
  json["prior_used"] = model.prior.has_value();
  json["earlier_jobs"] = earlier_json(model);
  json["small_residual"] = model.basis == InfluenceModel::Basis::small_residual;
  json["fleet"] = fleet_json(model);
  json["conventions"] = Json::array();
  if (model.prior)
    for (const auto& one : model.prior->conventions)
      json["conventions"].push_back(
          {{"which", convention_name(one.which)}, {"what", one.what}, {"log_odds", one.log_odds}});
  json["review"] = review_json(job, model);
  json["residuals"] = residuals_json(job, model);
  json["runs"] = runs_json(job, model);
  json["events"] = events_json(job, model);
  json["left_out"] = left_out_json(job, model);
  json["not_predicted"] = not_predicted_json(job, model);
  json["chi_squared"] = {
      {"value", model.runs.misfit},
      {"degrees_of_freedom", model.runs.misfit_dof},
      {"probability", model.runs.misfit_dof > 0 ? Json(fit_probability(model)) : Json(nullptr)}};
  json["warnings"] = model_warnings(job, model);
  json["cautions"] = cautions();
  return json.dump(2) + "\n";
}

}  // namespace trimwright

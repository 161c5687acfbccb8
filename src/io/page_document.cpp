#include "trimwright/files.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "forecast/outlook.hpp"
#include "json_parts.hpp"
#include "trimwright/report.hpp"

namespace trimwright {
namespace {

Json complex_json(std::complex<double> z) { return {z.real(), z.imag()}; }

template <class Vector>
Json complex_list(const Vector& values) {
  Json list = Json::array();
  for (Eigen::Index i = 0; i < values.size(); ++i) list.push_back(complex_json(values(i)));
  return list;
}

Json fitted_json(const FittedWeights& fitted) {
  Json slots = Json::object();
  for (const auto& [slot, piece] : fitted.slots) slots[std::to_string(slot)] = piece_json(piece);
  return slots;
}

Json slots_json(const Rotor& rotor, const Plane& plane) {
  Json list = Json::array();
  for (int slot = 1; plane.slots && slot <= plane.slots->count; ++slot) {
    if (!plane.slots->usable(slot)) continue;
    const auto position = slot_position(rotor, plane, slot);
    list.push_back({{"slot", slot}, {"angle_deg", position.angle.degrees()}, {"blades", position.blade}});
  }
  return list;
}

/// Slots where the plane's rules let a weight be; null: in all that are usable.
Json slots_for(const Plane& plane, const Weight& weight) {
  Json slots = Json::array();
  bool all = true;
  for (int slot = 1; plane.slots && slot <= plane.slots->count; ++slot) {
    if (!plane.slots->usable(slot)) continue;
    const bool allowed = allowed_in(plane, slot, Piece{weight.id, weight.moment_g_mm});
    all &= allowed;
    if (allowed) slots.push_back(slot);
  }
  return all ? Json() : slots;
}

/// What the judge of fitted weights goes by, for the page's own.
Json rules_json(const Plane& plane) {
  const PlaneRules& rules = plane.rules;
  return {{"max_pieces", or_null(rules.max_pieces)},
          {"max_mass_g", or_null(rules.max_mass_g)},
          {"max_slot_moment_g_mm", or_null(rules.max_slot_moment_g_mm)},
          {"masses_needed", rules.max_mass_g || rules.max_slot_mass_g},
          {"filler_alone", allowed_in(plane, 1, std::nullopt)},
          {"filler_mass_g", mass_of(plane, std::nullopt)},
          {"apart", rules.apart},
          {"together", rules.together},
          {"alike", rules.alike}};
}

Json weights_json(const Plane& plane) {
  const auto marks = weight_marks(plane);
  Json list = Json::array();
  for (std::size_t i = 0; i < plane.weights.size(); ++i) {
    const Weight& w = plane.weights[i];
    list.push_back({{"id", w.id},
                    {"mark", marks[i]},
                    {"words", w.written},
                    {"moment_g_mm", w.moment_g_mm},
                    {"stock", or_null(w.stock)},
                    {"mass_g", or_null(w.mass_g)},
                    {"pieces", w.pieces()},
                    {"slots", slots_for(plane, w)},
                    {"stack_of", w.stack_of}});
  }
  return list;
}

/// Moment of the pieces that sit in no slot.
std::complex<double> free_moment(const FittedWeights& fitted) {
  std::complex<double> moment = 0.0;
  for (const auto& piece : fitted.free) moment += piece.moment_g_mm * piece.at.direction();
  return moment;
}

/// Variance per real component of what a piece of 1 g mm adds to U for its tolerances.
double fitting_variance(const Plane& plane) {
  if (!plane.slots) return 0.0;
  FittedWeights one;
  one.slots[1] = {{}, 1.0};
  return 0.5 * fitting_covariance(plane, one).trace();
}

Json planes_json(const Job& job, const InfluenceModel& model, const std::vector<FittedWeights>& planned) {
  const auto changes = known_changes(job, job.runs.size());
  Json list = Json::array();
  for (std::size_t p = 0; p < job.rotor.planes.size(); ++p) {
    const Plane& plane = job.rotor.planes[p];
    const bool known = std::find(model.planes.begin(), model.planes.end(), p) != model.planes.end();
    list.push_back({{"name", plane.name},
                    {"known", known},
                    {"slots", slots_json(job.rotor, plane)},
                    {"filler_g_mm", plane.filler.moment_g_mm},
                    {"fitting_variance", fitting_variance(plane)},
                    {"weights", weights_json(plane)},
                    {"rules", rules_json(plane)},
                    {"max_total_g_mm", or_null(plane.max_total_moment_g_mm)},
                    {"max_added_g_mm", or_null(plane.max_added_moment_g_mm)},
                    {"free_moment", complex_json(free_moment(job.fitted_now[p]))},
                    {"known_changes", complex_json(changes[p])},
                    {"fitted_now", fitted_json(job.fitted_now[p])},
                    {"planned", fitted_json(planned[p])}});
  }
  return list;
}

Json sensors_json(const Rotor& rotor) {
  Json list = Json::array();
  for (const auto& sensor : rotor.sensors)
    list.push_back({{"name", sensor.name},
                    {"unit", sensor.unit.text()},
                    {"shown_per_peak", sensor.unit.shown_from_peak(1.0)},
                    {"phase_factor", complex_json(sensor.phase_factor())}});
  return list;
}

/// Rows as they stand in the model; amplitudes are peak, to be shown with the sensor's `shown_per_peak`.
Json rows_json(const Job& job, const InfluenceModel& model) {
  Json list = Json::array();
  for (const auto& row : model.rows) {
    const Place& place = place_of(job, row.speed, row.sensor);
    Json covariance = nullptr;
    if (const auto v = prediction_covariance(model, row))
      for (Eigen::Index i = 0; i < v->rows(); ++i) covariance.push_back(complex_list(v->row(i)));
    const NextNoise noise = next_noise(model, row);
    list.push_back({{"speed_rpm", job.speeds_rpm[row.speed]},
                    {"sensor", row.sensor},
                    {"limit", place.limit},
                    {"target", or_null(place.target)},
                    {"baseline", complex_json(row.baseline)},
                    {"coefficients", complex_list(row.coefficients)},
                    {"noise_variance", std::pow(noise.within, 2) + std::pow(noise.run_to_run, 2)},
                    {"proportional", noise.proportional},
                    {"covariance", covariance}});
  }
  return list;
}

}  // namespace

std::string page_json(const Job& job, const InfluenceModel& model, const TrimPlan& trim) {
  const auto planned =
      trim.has_slots() ? fitted_after(job, trim.trade_off[trim.chosen].changes) : job.fitted_now;
  Json json = document_header("page", job);
  json["planes"] = planes_json(job, model, planned);
  json["sensors"] = sensors_json(job.rotor);
  json["model_planes"] = model.planes;
  json["centre"] = complex_list(model.centre);
  json["rows"] = rows_json(job, model);
  json["differs_factor"] = differs_factor(model);
  json["not_predicted"] = trim.not_predicted.size();
  json["limits"] = {{"fitted_stay", trim.request.keep_fitted},
                    {"max_pieces", or_null(trim.request.max_pieces)},
                    {"planes", trim.planes},
                    {"allowance", fitting_allowance}};
  return json.dump();
}

}  // namespace trimwright

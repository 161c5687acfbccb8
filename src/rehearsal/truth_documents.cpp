#include <fmt/format.h>

#include <cmath>

#include "io/json_parts.hpp"
#include "rehearsal.hpp"
#include "report/convention_words.hpp"
#include "report/plan_parts.hpp"
#include "report/text_table.hpp"
#include "trimwright/check.hpp"

namespace trimwright {
namespace {

using Align = TextTable::Align;

std::string hidden_table(const RehearsalTruth& truth) {
  TextTable table({{"place", Align::left}, {"unbalance", Align::right}});
  for (const auto& hidden : truth.hidden)
    table.add({fmt::format("{:.2f} m behind the shaft's front end", hidden.at), moment_words(hidden.moment)});
  return table.text();
}

std::string plane_table(const RehearsalTruth& truth) {
  TextTable table({{"plane", Align::left}, {"acts like", Align::right}, {"fitted now", Align::right}});
  for (std::size_t p = 0; p < truth.moment.size(); ++p)
    table.add(
        {truth.job.rotor.planes[p].name, moment_words(truth.equivalent[p]), moment_words(truth.moment[p])});
  return table.text();
}

std::string coefficient_table(const RehearsalTruth& truth) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"plane", Align::left},
                   {"per 1000 g mm", Align::right},
                   {"unit", Align::left}});
  const Rotor& rotor = truth.job.rotor;
  for (const auto& row : truth.model.rows)
    for (std::size_t p = 0; p < truth.model.planes.size(); ++p)
      table.add({speed_words(truth.job, row.speed), rotor.sensors[row.sensor].name,
                 rotor.planes[truth.model.planes[p]].name,
                 phasor_words(rotor.sensors[row.sensor],
                              1000.0 * row.coefficients(static_cast<Eigen::Index>(p)), rotor.phase),
                 rotor.sensors[row.sensor].unit.text()});
  return table.text();
}

/// Of the best slots, at the place of `level`.
Phasor best_at(const RehearsalTruth& truth, const Prediction& level) {
  return prediction_at(truth.best.predictions, level.speed, level.sensor)->after;
}

std::string level_table(const RehearsalTruth& truth) {
  TextTable table({{"speed", Align::left},
                   {"sensor", Align::left},
                   {"first run", Align::right},
                   {"now", Align::right},
                   {"best slots", Align::right},
                   {"unit", Align::left},
                   {"target", Align::right},
                   {"now", Align::left}});
  const Rotor& rotor = truth.job.rotor;
  for (const Prediction& level : truth.levels) {
    const Sensor& sensor = rotor.sensors[level.sensor];
    table.add({speed_words(truth.job, level.speed), sensor.name,
               phasor_words(sensor, level.before, rotor.phase),
               phasor_words(sensor, level.after, rotor.phase),
               phasor_words(sensor, best_at(truth, level), rotor.phase), sensor.unit.text(),
               level.target ? amplitude_words(sensor.unit.shown_from_peak(*level.target)) : "-",
               level_words(std::abs(level.after), level.limit, level.target)});
  }
  return table.text();
}

std::string best_words(const RehearsalTruth& truth) {
  const auto& changes = truth.best.trade_off[truth.best.chosen].changes;
  if (changes.empty()) return "  Nothing fitted would have been better than what was there.\n";
  return change_table(truth.job, changes, widest_line);
}

double worst_now(const RehearsalTruth& truth) {
  double worst = 0.0;
  for (const auto& level : truth.levels)
    if (level.limit > 0.0) worst = std::max(worst, std::abs(level.after) / level.limit);
  return worst;
}

Json moment_json(std::complex<double> moment) {
  return {{"moment_g_mm", std::abs(moment)}, {"angle_deg", RotorAngle::of(moment).degrees()}};
}

Json planes_json(const RehearsalTruth& truth) {
  Json list = Json::array();
  for (std::size_t p = 0; p < truth.moment.size(); ++p)
    list.push_back({{"plane", truth.job.rotor.planes[p].name},
                    {"acts_like", moment_json(truth.equivalent[p])},
                    {"fitted_now", moment_json(truth.moment[p])}});
  return list;
}

Json coefficients_json(const RehearsalTruth& truth) {
  Json list = Json::array();
  const Rotor& rotor = truth.job.rotor;
  for (const auto& row : truth.model.rows)
    for (std::size_t p = 0; p < truth.model.planes.size(); ++p) {
      const Sensor& sensor = rotor.sensors[row.sensor];
      const auto seen = shown(sensor, row.coefficients(static_cast<Eigen::Index>(p)), rotor.phase);
      list.push_back({{"speed_rpm", truth.job.speeds_rpm[row.speed]},
                      {"sensor", sensor.name},
                      {"plane", rotor.planes[truth.model.planes[p]].name},
                      {"amplitude", seen.amplitude},
                      {"phase_deg", seen.phase_deg},
                      {"unit", sensor.unit.text() + " per g.mm"}});
    }
  return list;
}

Json levels_json(const RehearsalTruth& truth) {
  Json list = Json::array();
  const Rotor& rotor = truth.job.rotor;
  for (const Prediction& level : truth.levels) {
    const Sensor& sensor = rotor.sensors[level.sensor];
    Json entry = {{"speed_rpm", truth.job.speeds_rpm[level.speed]},
                  {"sensor", sensor.name},
                  {"unit", sensor.unit.text()}};
    const auto add = [&](const std::string& key, Phasor x) {
      const auto seen = shown(sensor, x, rotor.phase);
      entry[key] = seen.amplitude;
      entry[key + "_phase_deg"] = seen.phase_deg;
    };
    add("first_run", level.before);
    add("now", level.after);
    add("best_slots", best_at(truth, level));
    entry["limit"] = sensor.unit.shown_from_peak(level.limit);
    entry["target"] = level.target ? Json(sensor.unit.shown_from_peak(*level.target)) : Json(nullptr);
    list.push_back(std::move(entry));
  }
  return list;
}

Json best_json(const RehearsalTruth& truth) {
  Json slots = Json::array();
  for (const auto& change : truth.best.trade_off[truth.best.chosen].changes)
    slots.push_back({{"plane", truth.job.rotor.planes[change.plane].name},
                     {"slot", change.slot},
                     {"remove", piece_json(change.remove)},
                     {"fit", piece_json(change.fit)}});
  return {{"slots", std::move(slots)},
          {"worst_ratio", truth.best.worst_ratio},
          {"proved_optimal", truth.best.trade_off[truth.best.chosen].proved_optimal}};
}

}  // namespace

std::string truth_text(const RehearsalTruth& truth) {
  const Rotor& rotor = truth.job.rotor;
  std::string text = "What the rotor really is\n========================\n";
  text += wrapped("", fmt::format("{}, {}. Phases are {}; angles are with rotation, from the {}.", rotor.name,
                                  truth.job.serial, convention_words(rotor.phase), zero_words(rotor)));
  if (!truth.slip.empty()) text += "\nWHAT WENT WRONG\n" + wrapped("  ", truth.slip);
  text += "\nHIDDEN UNBALANCE\n" + hidden_table(truth);
  text += "\nIN THE PLANES (what the hidden unbalance acts like, and the moment of all that is fitted)\n" +
          plane_table(truth);
  text += "\nTRUE COEFFICIENTS (what 1000 g mm at rotor angle 0 adds)\n" + coefficient_table(truth);
  text += "\nTRUE LEVELS (no reading shows them exactly)\n" + level_table(truth);
  text += fmt::format("  Worst level divided by its limit: {:.3f} now, {:.3f} with the best slots.\n",
                      worst_now(truth), truth.best.worst_ratio);
  text += "\nTHE BEST SLOTS (changes from what was fitted in the first run, the rotor being known)\n" +
          best_words(truth);
  return text;
}

std::string truth_json(const RehearsalTruth& truth) {
  Json hidden = Json::array();
  for (const auto& one : truth.hidden) {
    Json entry = moment_json(one.moment);
    entry["at_m"] = one.at;
    hidden.push_back(std::move(entry));
  }
  Json json = document_header("truth", truth.job);
  json["hidden"] = std::move(hidden);
  json["planes"] = planes_json(truth);
  json["coefficients"] = coefficients_json(truth);
  json["levels"] = levels_json(truth);
  json["worst_ratio"] = worst_now(truth);
  json["best"] = best_json(truth);
  json["slip"] = truth.slip.empty() ? Json(nullptr) : Json(truth.slip);
  return json.dump(2) + "\n";
}

}  // namespace trimwright

#include <algorithm>
#include <cmath>

#include "io/written_reading.hpp"
#include "io/yaml_fields.hpp"
#include "report/convention_words.hpp"
#include "request.hpp"
#include "rotor/rotor_drawing.hpp"
#include "trimwright/files.hpp"

namespace trimwright {
namespace {

DeskJson spot_json(const Spot& spot) { return {{"x", spot.x}, {"y", spot.y}}; }

/// Where everything stands on a circle of radius 1 about 0, as a person at the plane's end sees it.
DeskJson plane_facts(const Rotor& rotor, const Plane& plane) {
  const RotorDrawing drawing = rotor_drawing(rotor, plane, {0.0, 0.0});
  const ViewingEnd end = viewing_end(rotor, plane);
  DeskJson slots = DeskJson::array();
  for (int slot = 1; plane.slots && slot <= plane.slots->count; ++slot) {
    DeskJson one = spot_json(drawing.at(1.0, plane.slots->angle(slot)));
    one["slot"] = slot;
    one["usable"] = plane.slots->usable(slot);
    one["position"] = slot_position(rotor, plane, slot).text();
    slots.push_back(std::move(one));
  }
  DeskJson weights = DeskJson::array();
  const auto marks = weight_marks(plane);
  for (std::size_t w = 0; w < plane.weights.size(); ++w)
    weights.push_back({{"id", plane.weights[w].id},
                       {"mark", marks[w]},
                       {"written", plane.weights[w].written},
                       {"moment_g_mm", plane.weights[w].moment_g_mm}});
  return {{"name", plane.name},
          {"seen", "As " + seen_words(end)},
          {"turns", std::string(name(rotor.rotation.seen(end)))},
          {"clockwise", drawing.clockwise},
          {"numbers_grow", plane.slots ? std::string(name(plane.slots->numbered.sense)) : std::string{}},
          {"slots", std::move(slots)},
          {"weights", std::move(weights)}};
}

DeskJson blade_facts(const Rotor& rotor) {
  if (!rotor.blades) return nullptr;
  const ViewingEnd end = rotor.blades->numbered.seen_from;
  const RotorDrawing drawing = rotor_drawing(rotor, end, {0.0, 0.0});
  DeskJson blades = DeskJson::array();
  for (int blade = 1; blade <= rotor.blades->count; ++blade)
    blades.push_back(spot_json(drawing.at(1.0, rotor.blades->angle(blade))));
  return {{"seen_from", std::string(name(end))}, {"blades", std::move(blades)}};
}

DeskJson fitted_json(const Rotor& rotor, const std::vector<FittedWeights>& fitted) {
  DeskJson planes = DeskJson::object();
  for (std::size_t p = 0; p < fitted.size(); ++p) {
    DeskJson slots = DeskJson::object();
    for (const auto& [slot, piece] : fitted[p].slots)
      slots[std::to_string(slot)] =
          piece.weight_id.empty() ? DeskJson{{"moment_g_mm", piece.moment_g_mm}} : DeskJson(piece.weight_id);
    planes[rotor.planes[p].name] = {{"slots", std::move(slots)}, {"elsewhere", fitted[p].free.size()}};
  }
  return planes;
}

/// Null, or what is wrong with one reading.
DeskJson checked(const DeskJson& cells, const Rotor& rotor) {
  const auto cell = [&](const char* key) { return cells.value(key, std::string{}); };
  WrittenReading written{cell("speed"),     cell("sensor"),
                         cell("amplitude"), cell("phase"),
                         cell("component"), cell("phase_of"),
                         cell("sd"),        false,
                         cell("note"),      {},
                         cell("approach"),  cell("state")};
  written.missing = not_obtained(written.amplitude);
  try {
    (void)to_reading(written, rotor);
    return nullptr;
  } catch (const InputError& input) {
    return error_json(input.error);
  }
}

}  // namespace

Result<DeskJson> rotor_facts(const DeskRequest& request) {
  const auto rotor = request.asked.contains("tree")
                         ? parse_rotor(request.rotor(), yaml_text(request.asked.at("tree")))
                         : read_rotor(request.rotor());
  if (!rotor) return tl::unexpected(rotor.error());
  DeskJson planes = DeskJson::array();
  for (const auto& plane : rotor->planes) planes.push_back(plane_facts(*rotor, plane));
  DeskJson sensors = DeskJson::array();
  for (const auto& sensor : rotor->sensors)
    sensors.push_back({{"name", sensor.name}, {"unit", sensor.unit.text()}, {"mounted", sensor.mounting}});
  return DeskJson{
      {"name", rotor->name},
      {"zero", zero_words(*rotor)},
      {"rotation", rotor->rotation.text()},
      {"phase", rotor->phase == PhaseConvention::unknown ? "unknown" : convention_words(rotor->phase)},
      {"planes", std::move(planes)},
      {"blades", blade_facts(*rotor)},
      {"sensors", std::move(sensors)}};
}

Result<DeskJson> job_facts(const DeskRequest& request) {
  const auto begun = read_job(request.job(), ReadingTables::none_yet);
  if (!begun) return tl::unexpected(begun.error());
  const bool any = std::any_of(begun->job.runs.begin(), begun->job.runs.end(),
                               [](const Run& run) { return !run.readings.empty(); });
  const auto whole = read_job(request.job());
  if (any && !whole) return tl::unexpected(whole.error());
  const int usual_max_changes = TrimRequest{}.max_changes;
  const Job& job = begun->job;
  DeskJson runs = DeskJson::array();
  for (const auto& run : job.runs)
    runs.push_back({{"name", run.name},
                    {"fitted", fitted_json(job.rotor, run.fitted)},
                    {"readings", run.readings.size()},
                    {"set_aside", run.set_aside.has_value()}});
  DeskJson speeds = DeskJson::array();
  for (std::size_t s = 0; s < job.speeds_rpm.size(); ++s) speeds.push_back(speed_words(job, s));
  return DeskJson{{"runs", std::move(runs)},
                  {"speeds", std::move(speeds)},
                  {"fitted_now", fitted_json(job.rotor, job.fitted_now)},
                  {"max_changes", whole ? whole->request.max_changes : usual_max_changes},
                  {"usual_max_changes", usual_max_changes},
                  {"prior", begun->prior.has_value()}};
}

Result<DeskJson> checked_readings(const DeskRequest& request) {
  const auto rotor = read_rotor(request.rotor());
  if (!rotor) return tl::unexpected(rotor.error());
  DeskJson found = DeskJson::array();
  for (const auto& one : request.asked.at("readings")) found.push_back(checked(one, *rotor));
  return DeskJson{{"readings", std::move(found)}};
}

}  // namespace trimwright

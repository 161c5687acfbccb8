#include "json_parts.hpp"

#include "report/convention_words.hpp"

namespace trimwright {

Json document_header(const std::string& kind, const Job& job) {
  return {{"trimwright", kind + " 1"},
          {"rotor", job.rotor.name},
          {"serial", job.serial},
          {"title", job.title},
          {"station", job.station},
          {"phase_convention", convention_words(job.rotor.phase)},
          {"angle_convention", "rotor angle in degrees, with rotation, from the " + zero_words(job.rotor)}};
}

Json piece_json(const std::optional<Piece>& piece) {
  if (!piece) return nullptr;
  if (!piece->weight_id.empty()) return piece->weight_id;
  return {{"moment_g_mm", piece->moment_g_mm}};
}

Piece piece_in(const Json& piece) {
  return piece.is_string() ? Piece{piece.get<std::string>(), 0.0}
                           : Piece{{}, piece.at("moment_g_mm").get<double>()};
}

void tell_state(Json& entry, const ReadingState& state) {
  if (state.approach != Approach::unsaid) entry["approach"] = state.approach == Approach::up ? "up" : "down";
  if (!state.name.empty()) entry["state"] = state.name;
}

Json place_json(const Job& job, std::size_t speed, std::size_t sensor) {
  Json place = {{"speed_rpm", job.speeds_rpm[speed]},
                {"speed", speed_words(job, speed)},
                {"sensor", job.rotor.sensors[sensor].name}};
  tell_state(place, state_at(job, speed));
  return place;
}

Json expected_json(const Job& job, const std::vector<ExpectedReading>& expected) {
  Json list = Json::array();
  for (const auto& one : expected) {
    const Sensor& sensor = job.rotor.sensors[one.sensor];
    const auto level = [&](const std::optional<double>& peak) {
      return peak ? Json(sensor.unit.shown_from_peak(*peak)) : Json(nullptr);
    };
    Json entry = place_json(job, one.speed, one.sensor);
    entry["unit"] = sensor.unit.text();
    entry["amplitude"] = nullptr;
    entry["phase_deg"] = nullptr;
    if (one.expected) {
      const ShownReading seen = shown(sensor, *one.expected, job.rotor.phase);
      entry["amplitude"] = seen.amplitude;
      entry["phase_deg"] = seen.phase_deg;
    }
    entry["last_read"] = level(one.last_read);
    entry["differs_by"] = level(one.differs_by);
    entry["stop_above"] = level(one.stop_above);
    entry["target"] = level(one.target);
    list.push_back(std::move(entry));
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

}  // namespace trimwright

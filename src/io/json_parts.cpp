#include "json_parts.hpp"

#include "report/number_words.hpp"

namespace trimwright {

Json document_header(const std::string& kind, const Job& job) {
  return {{"trimwright", kind + " 1"},
          {"rotor", job.rotor.name},
          {"serial", job.serial},
          {"title", job.title},
          {"station", job.station},
          {"phase_convention", convention_words(job.rotor.phase)},
          {"angle_convention", "rotor angle in degrees, with rotation, from the reference tooth"}};
}

Json piece_json(const std::optional<Piece>& piece) {
  if (!piece) return nullptr;
  if (!piece->weight_id.empty()) return piece->weight_id;
  return {{"moment_g_mm", piece->moment_g_mm}};
}

Json place_json(const Job& job, std::size_t speed, std::size_t sensor) {
  return {{"speed_rpm", job.speeds_rpm[speed]},
          {"speed", speed_words(job, speed)},
          {"sensor", job.rotor.sensors[sensor].name}};
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

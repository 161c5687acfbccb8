#include "json_parts.hpp"
#include "trimwright/files.hpp"

namespace trimwright {

std::string tolerance_json(double rpm) {
  Json json = {{"trimwright", "tolerance 1"},
               {"speed_rpm", rpm},
               {"standard", "ISO 21940-11"},
               {"grades", Json::array()}};
  for (const double grade : balance_quality_grades())
    json["grades"].push_back(
        {{"grade_mm_s", grade}, {"permissible_g_mm_per_kg", permissible_specific_unbalance(grade, rpm)}});
  json["cautions"] = cautions();
  return json.dump(2) + "\n";
}

}  // namespace trimwright

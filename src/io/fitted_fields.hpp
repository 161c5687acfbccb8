#pragma once

#include <string>
#include <vector>

#include "trimwright/job.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// "spinner or drum": of planes, sensors or runs.
template <class Named>
[[nodiscard]] std::string alternatives(const std::vector<Named>& all) {
  std::string names;
  for (const auto& one : all) names += (names.empty() ? "" : " or ") + one.name;
  return names;
}

/// Index of the plane of this name; refused, at `value`, where the rotor has none.
[[nodiscard]] std::size_t plane_called(const std::string& name, const YamlValue& value, const Rotor& rotor);
/// The same of the plane or sensor that `value` names.
[[nodiscard]] std::size_t read_plane_name(const YamlValue& value, const Rotor& rotor);
[[nodiscard]] std::size_t read_sensor_name(const YamlValue& value, const Rotor& rotor);

/// All that is fitted: `none`, `same as <run>` (one of the job's runs so far), or what each plane holds.
[[nodiscard]] std::vector<FittedWeights> read_fitted(const YamlValue& value, const Job& job);

}  // namespace trimwright

#pragma once

#include <string>
#include <vector>

#include "trimwright/job.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// "spinner or drum": of planes, sensors or runs.
template <class Named>
[[nodiscard]] std::string names_of(const std::vector<Named>& all) {
  std::string names;
  for (const auto& one : all) names += (names.empty() ? "" : " or ") + one.name;
  return names;
}

/// All that is fitted: `none`, `same as <run>` (one of the job's runs so far), or what each plane holds.
[[nodiscard]] std::vector<FittedWeights> read_fitted(const YamlValue& value, const Job& job);

}  // namespace trimwright

#pragma once

#include <string>
#include <vector>

#include "trimwright/runs/job.hpp"
#include "yaml_fields.hpp"

namespace trimwright {

/// "spinner or drum".
[[nodiscard]] std::string plane_names(const Rotor& rotor);

/// All that is fitted: `none`, `same as <run>` (one of the job's runs so far), or what each plane holds.
[[nodiscard]] std::vector<FittedWeights> read_fitted(const YamlValue& value, const Job& job);

}  // namespace trimwright

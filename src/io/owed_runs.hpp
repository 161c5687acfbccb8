#pragma once

#include <string>
#include <vector>

#include "trimwright/plan.hpp"

namespace trimwright {

/// "leak check: 60 %, 85 %": a run and the speeds that it reaches. Errors: no name, no speed.
[[nodiscard]] Result<OwedRun> parse_owed_run(const std::string& text, const Rotor& rotor);

/// A file of them: `trimwright: owed runs 1` and `runs`, a list of `{name, speeds}`. Errors: those of
/// reading.
[[nodiscard]] Result<std::vector<OwedRun>> read_owed_runs(const std::string& path, const Rotor& rotor);

}  // namespace trimwright

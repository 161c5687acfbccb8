#pragma once

#include <string>

#include "trimwright/check/verdict.hpp"

namespace trimwright {

/// The `check 1` document, described in docs/json.md.
[[nodiscard]] std::string check_json(const Job& job, const Verdict& verdict);

}  // namespace trimwright

#pragma once

#include <string>

#include "trimwright/check/verdict.hpp"

namespace trimwright {

/// The verdict for a terminal or a printer: at most 100 columns, no colour.
[[nodiscard]] std::string check_text(const Job& job, const Verdict& verdict);

}  // namespace trimwright

#pragma once

#include <string>

#include "trimwright/runs/readiness.hpp"

namespace trimwright {

/// What was found, in one sentence, with speed, sensor and runs.
[[nodiscard]] std::string finding_words(const Job& job, const ReadinessFinding& finding);

/// What to look at or do first. Empty where there is nothing.
[[nodiscard]] std::string what_to_do(ReadinessConcern concern);

/// The answer in one sentence.
[[nodiscard]] std::string answer_words(const Readiness& readiness);

/// `trimwright ready` for a terminal.
[[nodiscard]] std::string ready_text(const Job& job, const Readiness& readiness);

}  // namespace trimwright

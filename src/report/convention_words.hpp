#pragma once

#include <string>

#include "trimwright/influence.hpp"
#include "trimwright/job.hpp"

namespace trimwright {

/// "5000", or "more than a million" where the digits mean nothing.
[[nodiscard]] std::string odds_words(double log_odds);
/// "lag" or "lead".
[[nodiscard]] std::string convention_words(PhaseConvention convention);
/// "phase is lag.", or that none took part.
[[nodiscard]] std::string phase_sentence(PhaseConvention convention);

}  // namespace trimwright

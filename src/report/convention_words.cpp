#include "convention_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace trimwright {

std::string odds_words(double log_odds) {
  const double size = std::abs(log_odds);
  return size > std::log(1e6) ? "more than a million" : fmt::format("{:.0f}", std::exp(size));
}

std::string convention_words(PhaseConvention convention) {
  return convention == PhaseConvention::lag    ? "lag"
         : convention == PhaseConvention::lead ? "lead"
                                               : "unknown";
}

std::string phase_sentence(PhaseConvention convention) {
  return convention == PhaseConvention::unknown ? "phases took no part."
                                                : "phase is " + convention_words(convention) + ".";
}

}  // namespace trimwright

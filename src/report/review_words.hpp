#pragma once

#include <string>
#include <vector>

#include "trimwright/influence.hpp"
#include "trimwright/trim.hpp"

namespace trimwright {

/// Which planes act alike, where, and what the singular values mean for a trim.
[[nodiscard]] std::vector<std::string> likeness_words(const Job& job, const InfluenceModel& model,
                                                      const InfluenceReview& review);

/// Which reading or run to repeat, and why; or that none asks for it.
[[nodiscard]] std::vector<std::string> what_to_repeat(const Job& job, const InfluenceModel& model,
                                                      const InfluenceReview& review);

/// "0.43 ∠ 32° in/s peak was read, 0.61 ∠ 40° is what the fit makes of it".
[[nodiscard]] std::string read_and_fitted(const Job& job, const InfluenceModel& model,
                                          const ReviewedReading& one);

/// What becomes of the correction without the suspect readings.
[[nodiscard]] std::vector<std::string> suspect_words(const Job& job, const SuspectEffect& effect);

/// What each sensor alone asks for beside all together, and which asks for quite another angle.
[[nodiscard]] std::vector<std::string> sensor_words(const Job& job,
                                                    const std::vector<SensorCorrection>& corrections);

}  // namespace trimwright

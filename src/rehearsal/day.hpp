#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rehearsal.hpp"

namespace trimwright {

/// rehearsal.yaml and rotor.yaml of a new rehearsal.
[[nodiscard]] std::string rehearsal_text(std::uint64_t seed, RehearsalDay day);
[[nodiscard]] std::string rotor_text(RehearsalDay day);

/// What goes wrong in run number `run` (from 0), where `written` is fitted by the job: by the seed in one of
/// the three runs after the first, and in one rehearsal of four in none. `job` holds the runs before.
[[nodiscard]] std::optional<PlantedSlip> planted_slip(const Rehearsal& rehearsal, const Job& job,
                                                      std::size_t run,
                                                      const std::vector<FittedWeights>& written);

/// How many of the run's speeds, the lowest first, are completed before a level passes its limit, and in
/// words where and why it was stopped (empty: it was not). Levels without scatter; `fitted` really.
struct Completed {
  std::size_t speeds = 0;
  std::string stopped;
};
[[nodiscard]] Completed completed(const Rehearsal& rehearsal, const Job& job,
                                  const std::vector<FittedWeights>& fitted);

/// The as-found unbalance made less, so that no level passes this share of its limit as found.
inline constexpr double most_as_found = 0.8;
[[nodiscard]] virtual_rotor::VirtualRotor below_limits(const Rotor& written,
                                                       const virtual_rotor::AssembledRotor& real);

}  // namespace trimwright

#pragma once

#include <string>

#include "trimwright/base/error.hpp"
#include "trimwright/influence/prior.hpp"

namespace trimwright {

/// Most coefficients of a prior that is written and read.
inline constexpr std::size_t most_prior_coefficients = 500;

/// Reads a prior file (YAML, `trimwright: prior 1`), described in docs/file-formats.md. Errors: what the file
/// gets wrong; covariances that cannot be; where `rotor` is given, a plane, sensor or unit it does not have.
[[nodiscard]] Result<Prior> read_prior(const std::string& path, const Rotor* rotor = nullptr);
[[nodiscard]] Result<Prior> parse_prior(const std::string& file, const std::string& text,
                                        const Rotor* rotor = nullptr);

/// The text of a prior file; `parse_prior` gives the same prior back.
[[nodiscard]] std::string prior_text(const Prior& prior);

}  // namespace trimwright

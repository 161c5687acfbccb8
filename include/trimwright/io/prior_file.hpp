#pragma once

#include <string>

#include "trimwright/base/error.hpp"
#include "trimwright/influence/prior.hpp"

namespace trimwright {

/// Reads a prior file (YAML, `trimwright: prior 1`), described in docs/file-formats.md. Errors: what the file
/// gets wrong; covariances that cannot be.
[[nodiscard]] Result<Prior> read_prior(const std::string& path);
[[nodiscard]] Result<Prior> parse_prior(const std::string& file, const std::string& text);

/// The text of a prior file; `parse_prior` gives the same prior back.
[[nodiscard]] std::string prior_text(const Prior& prior);

}  // namespace trimwright

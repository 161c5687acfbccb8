#pragma once

#include <string>

#include "trimwright/trim.hpp"

namespace trimwright {

/// "The time limit (5 s for everything) ended the search", or that a person did.
[[nodiscard]] std::string what_ended(const TrimRequest& request);
/// "Run again with --time-limit 60.", or as the request says it, or to let it go on.
[[nodiscard]] std::string run_again(const TrimRequest& request);

}  // namespace trimwright

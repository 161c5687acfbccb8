#pragma once

#include <cstdint>
#include <string>

#include "trimwright/error.hpp"

namespace trimwright {

/// Why something is not filed that is there already, as record `number` (`what` tells); `other`: what could
/// be.
[[nodiscard]] Error filed_already(std::int64_t number, std::string what, const std::string& other);
/// The same of a trim with the same readings.
[[nodiscard]] Error trim_filed_already(std::int64_t number);

/// Why a record whose digest does not fit is not used. `archive`: its name; may be empty.
[[nodiscard]] Error not_as_filed(std::int64_t number, const std::string& archive = {});

}  // namespace trimwright

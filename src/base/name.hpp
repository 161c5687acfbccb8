#pragma once

#include <string>
#include <string_view>

#include "trimwright/error.hpp"

namespace trimwright {

/// Characters a name may have: of a plane, a weight, a sensor, a run, a rotor, a person ...
inline constexpr std::size_t longest_name = 200;

/// A name as it is kept, compared and printed: normalised (Unicode's form C), every kind of blank a plain
/// one, several in a row one. Errors: nothing, too long, not UTF-8, a character that `is_unseen`, a blank at
/// either end, an accent that nothing carries.
[[nodiscard]] Result<std::string> parse_name(std::string_view text);

/// Error where a text that people will read holds a character that `is_unseen`.
[[nodiscard]] Result<void> check_seen(std::string_view text);

/// Whether a person takes two names for the same: equal in Unicode's compatibility form (KC), the Greek and
/// Cyrillic letters that look like Latin ones taken for those. Capital and small letters differ.
[[nodiscard]] bool alike(std::string_view one, std::string_view other);

}  // namespace trimwright

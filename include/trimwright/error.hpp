#pragma once

#include <tl/expected.hpp>

#include <string>
#include <utility>

namespace trimwright {

/// Where in a user's file something was found. Empty fields are left out when printed.
struct Location {
  std::string file;
  int line = 0;     ///< 1-based; 0 when not known; `unwritten` where the file was to be written
  std::string key;  ///< dotted path of the key, e.g. "planes[0].slots.count"
};

/// One thing wrong with what the user gave: what was found, where, and what was expected instead.
struct Error {
  std::string what;
  std::string expected;  ///< may be empty when `what` says it all
  Location where;
  /// What is missing, where that is what is wrong: a key of the map at `where`; "check run" where none was
  /// made yet. Else empty.
  std::string missing{};

  /// "file:line: key: what; expected ..." in one line; what would not be seen is written out.
  [[nodiscard]] std::string message() const;
};

/// The value, or the one clear error that prevented it. Our own mistakes are assertions, never errors.
template <class T>
using Result = tl::expected<T, Error>;

[[nodiscard]] inline tl::unexpected<Error> fail(std::string what, std::string expected = {},
                                                Location where = {}) {
  return tl::unexpected<Error>(Error{std::move(what), std::move(expected), std::move(where)});
}

}  // namespace trimwright

#pragma once

#include <string>

namespace trimwright {

/// What the desk's page asks, answered: `request` and the answer are JSON (docs/desk.md). `folder` is where
/// the files of the request are put to be read; the desk owns it and empties it before every request.
///
/// A request names what to `do`, and gives the `files` it is about, by name. The answer holds what was asked,
/// or `error` with `message`, `what`, `expected`, `file`, `line`, `key` and `missing`. It is never anything
/// else: what cannot be read as a request is answered with an error too.
[[nodiscard]] std::string desk_answer(const std::string& folder, const std::string& request);

}  // namespace trimwright

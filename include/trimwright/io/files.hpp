#pragma once

#include <string>

#include "trimwright/base/error.hpp"

namespace trimwright {

/// Largest text file that is read; a job of a thousand readings is well below 1 MB.
inline constexpr std::size_t largest_text_file = 16u << 20;

/// The whole of a text file. Errors: missing, a folder, unreadable, too large, empty, or not UTF-8 text.
[[nodiscard]] Result<std::string> read_text_file(const std::string& path);

/// `path` as written in the file `from`: relative to that file's folder.
[[nodiscard]] std::string path_beside(const std::string& from, const std::string& path);

}  // namespace trimwright

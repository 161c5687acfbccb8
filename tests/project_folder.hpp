#pragma once

#include <string>

namespace trimwright::testing {

/// A file of this project by its path from the top folder.
[[nodiscard]] std::string in_project(const std::string& path);

}  // namespace trimwright::testing

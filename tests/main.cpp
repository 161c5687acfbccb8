#define DOCTEST_CONFIG_IMPLEMENT_WITH_MAIN
#include "project_folder.hpp"

#include <doctest/doctest.h>

namespace trimwright::testing {
std::string in_project(const std::string& path) { return std::string(SOURCE_DIR) + "/" + path; }
}  // namespace trimwright::testing

#pragma once

#include "database.hpp"

namespace trimwright {

/// What `record setup` runs: records, their places in the tree, and a role that may add and read, no more.
extern const char* const postgres_schema;
/// What is in the archive's schema: name and definition of every column, index, trigger, ...
extern const char* const postgres_schema_now;
/// What that has to give.
[[nodiscard]] Schema postgres_schema_expected();

}  // namespace trimwright

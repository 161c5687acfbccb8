#pragma once

#include <utility>

#include "database.hpp"
#include "trimwright/records/archive.hpp"

namespace trimwright {

struct Archive::State {
  State(const std::string& path, int flags) : database(path, flags) {}
  mutable Database database;
};

/// Number and digest of the last record; zero in an empty archive.
[[nodiscard]] std::pair<std::int64_t, Digest> last_record(Database& database);

/// Throws a DatabaseFailure that names the archive.
[[noreturn]] void refuse(const Database& database, std::string what, std::string expected);

}  // namespace trimwright

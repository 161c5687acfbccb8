// In place of records/postgres_database.cpp in the static program: Debian's libpq needs libraries (Kerberos,
// LDAP) that come as shared ones only.
#include "records/database.hpp"

namespace trimwright {
namespace {

[[noreturn]] void refuse_server() {
  throw DatabaseFailure{{"this is the program without libraries, which reaches no PostgreSQL server",
                         "an archive in a file, or the program of the Debian package or built from source",
                         {}},
                        false};
}

}  // namespace

bool is_postgres(std::string_view name) {
  return name.starts_with("postgresql://") || name.starts_with("postgres://");
}

std::unique_ptr<Database> open_postgres(const std::string&) { refuse_server(); }

void set_up_postgres(const std::string&) { refuse_server(); }

}  // namespace trimwright

#pragma once

#include <map>
#include <set>

#include "database.hpp"
#include "trimwright/records.hpp"

namespace trimwright {

struct Archive::State {
  std::unique_ptr<Database> database;
};

/// Columns of a stored record in the order that `read_stored` reads them.
[[nodiscard]] std::string stored_columns(const Database& database);

/// Into a record that may have held another; `holds` tells whether its digest fits.
void read_stored(const Database& database, const Statement& row, StoredRecord& one);

/// The last record of a station's chain, or of the only one.
[[nodiscard]] std::optional<StoredRecord> last_record(Database& database, const std::string& station);

/// Does what may throw a DatabaseFailure, and gives its result or its error.
template <class Do>
[[nodiscard]] auto caught(Do&& act) -> decltype(act()) {
  try {
    return act();
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

/// Where a record was filed.
struct Placed {
  std::int64_t number = 0;
  Digest previous{};
  Digest digest{};
};

/// Files records at the end of their chains, inside a transaction of the caller's.
class Filing {
 public:
  /// Where the database itself refuses what is filed already, it is asked before only to `tell` by which
  /// record.
  explicit Filing(Database& database, bool tell = true);

  /// Refuses what is filed already, and a correction that cannot be.
  Placed append(const Record& record);
  /// Where the same trim was filed.
  [[nodiscard]] std::optional<std::int64_t> same_as(const Record& record);
  /// By which record another one is corrected.
  [[nodiscard]] std::optional<std::int64_t> correction_of(std::int64_t number);
  /// The record sent here whose digest was `origin` where it came from.
  [[nodiscard]] std::optional<std::int64_t> sent_as(const Digest& origin);

 private:
  [[nodiscard]] static std::optional<std::int64_t> first_of(Statement& statement);
  void check_not_filed_yet(const Record& record);
  void check_correction(const Record& record);
  void insert(const Placed& place, const Record& record);
  std::pair<std::int64_t, Digest>& end_of_chain(const std::string& station);

  Database& database_;
  bool tell_;
  std::unique_ptr<Statement> insert_, same_, correction_, sent_;
  std::map<std::string, std::pair<std::int64_t, Digest>> ends_;
};

}  // namespace trimwright

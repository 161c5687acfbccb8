#pragma once

#include <sqlite3.h>

#include <optional>
#include <string>
#include <string_view>

#include "trimwright/base/error.hpp"
#include "trimwright/records/digest.hpp"

namespace trimwright {

/// A failure of SQLite, thrown inside `records` and caught at the archive's surface.
struct DatabaseFailure {
  Error error;
};

/// One connection to an archive's file. Throws DatabaseFailure.
class Database {
 public:
  /// `flags` of sqlite3_open_v2.
  Database(const std::string& path, int flags);
  ~Database();
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  void run(const char* sql);
  [[nodiscard]] std::int64_t number(const char* sql);
  [[nodiscard]] sqlite3* handle() const { return handle_; }
  [[nodiscard]] const std::string& path() const { return path_; }
  /// What went wrong, in words a person can act on.
  [[noreturn]] void fail_with(int code) const;

 private:
  std::string path_;
  sqlite3* handle_ = nullptr;
};

/// A prepared statement. Bindings are kept by reference until `step` has ended.
class Statement {
 public:
  Statement(Database& database, std::string_view sql);
  ~Statement();
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  void bind(int at, std::string_view text);
  void bind(int at, std::int64_t number);
  void bind(int at, double number);
  void bind(int at, const Digest& digest);
  void bind_null(int at);
  /// True when there is a row.
  bool step();
  void reset();

  [[nodiscard]] std::string text(int column) const { return std::string(view(column)); }
  /// Into a string that has its memory already.
  void text(int column, std::string& into) const { into.assign(view(column)); }
  [[nodiscard]] std::string_view view(int column) const;
  [[nodiscard]] std::int64_t integer(int column) const { return sqlite3_column_int64(handle_, column); }
  [[nodiscard]] double real(int column) const { return sqlite3_column_double(handle_, column); }
  [[nodiscard]] bool is_null(int column) const { return sqlite3_column_type(handle_, column) == SQLITE_NULL; }
  /// Zero where the column is no digest.
  [[nodiscard]] Digest digest(int column) const;

 private:
  Database& database_;
  sqlite3_stmt* handle_ = nullptr;
};

/// A transaction that is rolled back unless committed. Begins at once: nobody else can write meanwhile.
class Transaction {
 public:
  explicit Transaction(Database& database) : database_(database) { database_.run("BEGIN IMMEDIATE"); }
  ~Transaction() {
    if (!committed_) sqlite3_exec(database_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
  }
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  void commit() {
    database_.run("COMMIT");
    committed_ = true;
  }

 private:
  Database& database_;
  bool committed_ = false;
};

}  // namespace trimwright

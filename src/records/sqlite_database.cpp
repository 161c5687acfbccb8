#include <fmt/format.h>
#include <sqlite3.h>

#include <cstring>
#include <filesystem>

#include "database.hpp"

namespace trimwright {
namespace {

/// How long to wait for another process that is filing.
constexpr int patience_ms = 20000;
/// "TrmW", so that `file` and other programs can tell an archive from other databases.
constexpr std::int64_t application_id = 0x54726d57;
constexpr std::int64_t newest = 2;

/// {0}: columns of version 2, {1}: its indices.
constexpr const char* sqlite_schema = R"(
CREATE TABLE record (
  number INTEGER PRIMARY KEY,
  previous BLOB NOT NULL,
  digest BLOB NOT NULL,
  inputs BLOB NOT NULL,
  rotor TEXT NOT NULL,
  serial TEXT NOT NULL COLLATE NOCASE,
  station TEXT NOT NULL,
  date TEXT NOT NULL,
  person TEXT NOT NULL,
  verdict TEXT NOT NULL,
  level REAL NOT NULL,
  filed_at TEXT NOT NULL,
  filed_by TEXT NOT NULL,
  software TEXT NOT NULL,
  corrects INTEGER REFERENCES record (number),
  reason TEXT NOT NULL,
  content TEXT NOT NULL{0}
) STRICT;
CREATE INDEX record_by_serial ON record (serial);
CREATE INDEX record_by_inputs ON record (inputs);
CREATE INDEX record_by_corrects ON record (corrects) WHERE corrects IS NOT NULL;{1}
CREATE TRIGGER record_is_never_changed BEFORE UPDATE ON record
  BEGIN SELECT RAISE(ABORT, 'a record is never changed: file a correction'); END;
CREATE TRIGGER record_is_never_removed BEFORE DELETE ON record
  BEGIN SELECT RAISE(ABORT, 'a record is never removed: file a correction'); END;
CREATE TRIGGER record_is_added_at_the_end BEFORE INSERT ON record
  WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM record)
  BEGIN SELECT RAISE(ABORT, 'a record is added at the end'); END;
)";

std::string schema_of(std::int64_t version) {
  if (version == 1) return fmt::format(sqlite_schema, "", "");
  return fmt::format(sqlite_schema, ",\n  origin BLOB",
                     "\nCREATE INDEX record_by_date ON record (date);"
                     "\nCREATE INDEX record_by_origin ON record (origin) WHERE origin IS NOT NULL;");
}

struct SqliteWords {
  const char* what;
  const char* expected;
};

SqliteWords sqlite_words(int code) {
  switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return {"another process keeps the archive busy", "the same command a little later"};
    case SQLITE_FULL:
      return {"the disk is full: nothing was filed", "room on the disk, then the same command again"};
    case SQLITE_READONLY:
      return {"the archive cannot be written: it or its folder is read-only",
              "a file and a folder this user may write to"};
    case SQLITE_CANTOPEN:
      return {"the archive, or the journal that SQLite keeps beside it, cannot be opened",
              "a file in a folder this user may use"};
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return {"access to the archive is denied", "a file this user may use"};
    case SQLITE_CORRUPT:
      return {"the archive's file is damaged", "a backup of it"};
    case SQLITE_NOTADB:
      return {"this is not an archive, or its beginning is damaged", "an archive, or a backup of it"};
    case SQLITE_IOERR:
      return {"the disk failed or is full: nothing was filed", "a disk that can be read and written"};
    case SQLITE_TOOBIG:
      return {"a text is too large for the archive", "less than 1 GB in a record"};
    default:
      return {"the archive failed", ""};
  }
}

/// SQLite's own words in one line: "*** in database main ***; Page 4: ...".
std::string lines_joined(const std::string& text) {
  std::string joined;
  for (const char c : text.substr(std::min(text.find_first_not_of('\n'), text.size())))
    joined += c == '\n' ? std::string("; ") : std::string(1, c);
  return joined;
}

[[noreturn]] void fail_with(int code, sqlite3* handle, const std::string& name) {
  const SqliteWords words = sqlite_words(code);
  const char* detail = handle != nullptr ? sqlite3_errmsg(handle) : sqlite3_errstr(code);
  throw DatabaseFailure{{std::string(words.what) + " (" + detail + ")", words.expected, {name, 0, {}}},
                        false};
}

class SqliteStatement final : public Statement {
 public:
  SqliteStatement(sqlite3* database, const std::string& name, std::string_view sql)
      : database_(database), name_(name) {
    must(sqlite3_prepare_v2(database, sql.data(), static_cast<int>(sql.size()), &handle_, nullptr));
  }
  ~SqliteStatement() override { sqlite3_finalize(handle_); }
  SqliteStatement(const SqliteStatement&) = delete;
  SqliteStatement& operator=(const SqliteStatement&) = delete;

  void bind(int at, std::string_view text) override {
    must(
        sqlite3_bind_text64(handle_, at, text.empty() ? "" : text.data(), text.size(), nullptr, SQLITE_UTF8));
  }
  void bind(int at, std::int64_t number) override { must(sqlite3_bind_int64(handle_, at, number)); }
  void bind(int at, double number) override { must(sqlite3_bind_double(handle_, at, number)); }
  void bind(int at, const Digest& digest) override {
    must(sqlite3_bind_blob(handle_, at, digest.data(), static_cast<int>(digest.size()), nullptr));
  }
  void bind_null(int at) override { must(sqlite3_bind_null(handle_, at)); }
  bool step() override {
    const int code = sqlite3_step(handle_);
    if (code != SQLITE_ROW && code != SQLITE_DONE) fail_with(code, database_, name_);
    return code == SQLITE_ROW;
  }
  void reset() override { sqlite3_reset(handle_); }

  [[nodiscard]] std::string_view view(int column) const override {
    const void* data = sqlite3_column_blob(handle_, column);
    const int size = sqlite3_column_bytes(handle_, column);
    return {static_cast<const char*>(data), data == nullptr ? 0 : static_cast<std::size_t>(size)};
  }
  [[nodiscard]] std::int64_t integer(int column) const override {
    return sqlite3_column_int64(handle_, column);
  }
  [[nodiscard]] double real(int column) const override { return sqlite3_column_double(handle_, column); }
  [[nodiscard]] bool is_null(int column) const override {
    return sqlite3_column_type(handle_, column) == SQLITE_NULL;
  }
  [[nodiscard]] Digest digest(int column) const override {
    Digest digest{};
    const auto bytes = view(column);
    if (bytes.size() != digest.size()) return sha256(bytes);
    std::memcpy(digest.data(), bytes.data(), bytes.size());
    return digest;
  }

 private:
  void must(int code) const {
    if (code != SQLITE_OK) fail_with(code, database_, name_);
  }

  sqlite3* database_;
  const std::string& name_;
  sqlite3_stmt* handle_ = nullptr;
};

class SqliteDatabase final : public Database {
 public:
  SqliteDatabase(const std::string& path, int flags) {
    name_ = path;
    if (const int code = sqlite3_open_v2(path.c_str(), &handle_, flags | SQLITE_OPEN_EXRESCODE, nullptr);
        code != SQLITE_OK) {
      sqlite3_close(std::exchange(handle_, nullptr));
      fail_with(code, handle_, name_);
    }
    sqlite3_busy_timeout(handle_, patience_ms);
    sqlite3_db_config(handle_, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
    sqlite3_db_config(handle_, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
  }
  ~SqliteDatabase() override { sqlite3_close(handle_); }
  SqliteDatabase(const SqliteDatabase&) = delete;
  SqliteDatabase& operator=(const SqliteDatabase&) = delete;

  std::unique_ptr<Statement> prepare(std::string_view sql) override {
    return std::make_unique<SqliteStatement>(handle_, name_, sql);
  }
  void run(const std::string& sql) override {
    if (const int code = sqlite3_exec(handle_, sql.c_str(), nullptr, nullptr, nullptr); code != SQLITE_OK)
      fail_with(code, handle_, name_);
  }
  void begin_reading() override { run("BEGIN"); }
  void begin_writing(const std::set<std::string>&) override {
    run("BEGIN IMMEDIATE");
    if (const auto cut = cut_short(); !cut.empty()) {
      roll_back();
      refuse(cut + ": nothing was filed", "a backup of the archive");
    }
  }
  void commit() override { run("COMMIT"); }
  void roll_back() noexcept override { sqlite3_exec(handle_, "ROLLBACK", nullptr, nullptr, nullptr); }
  std::unique_ptr<Database> looked_at_again() override { return open_sqlite(name_, false); }
  std::int64_t next_number(std::int64_t last) override { return last + 1; }
  [[nodiscard]] bool refuses_twice() const override { return false; }
  [[nodiscard]] bool chain_per_station() const override { return false; }
  [[nodiscard]] const char* serial_column() const override { return "serial"; }
  void settle_tree() override {}
  std::vector<std::string> storage_faults() override {
    std::vector<std::string> faults;
    if (auto cut = cut_short(); !cut.empty()) faults.push_back(std::move(cut));
    const auto check = prepare("PRAGMA integrity_check(20)");
    while (check->step())
      if (const auto found = check->text(0); found != "ok")
        faults.push_back("the file is damaged: " + lines_joined(found));
    return faults;
  }

  void make_or_check(bool create) {
    run("PRAGMA synchronous = EXTRA; PRAGMA foreign_keys = ON; PRAGMA cell_size_check = ON; "
        "PRAGMA cache_size = -32000");
    if (create && number("PRAGMA application_id") == 0) create_schema();
    check_version();
    compare_schema(expected_schema(), schema());
  }
  [[nodiscard]] std::int64_t number(const char* sql) {
    const auto statement = prepare(sql);
    return statement->step() ? statement->integer(0) : 0;
  }
  void copy_to(const std::string& path) {
    SqliteDatabase copy(path, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
    sqlite3_backup* backup = sqlite3_backup_init(copy.handle_, "main", handle_, "main");
    if (backup == nullptr) fail_with(sqlite3_errcode(copy.handle_), copy.handle_, path);
    const int code = sqlite3_backup_step(backup, -1);
    sqlite3_backup_finish(backup);
    if (code != SQLITE_DONE) fail_with(code, copy.handle_, path);
  }

 private:
  /// SQLite reads the missing part of a last page as zeros.
  [[nodiscard]] std::string cut_short() {
    std::error_code none;
    const auto bytes = std::filesystem::file_size(name_, none);
    const auto size = static_cast<std::uintmax_t>(number("PRAGMA page_size"));
    if (none || bytes % size == 0) return {};
    return fmt::format("the file is cut short: it has {} bytes, which are no whole pages of {}", bytes, size);
  }

  /// Makes a new file an archive; one that is an archive already is left alone. One transaction.
  void create_schema() {
    Transaction transaction(*this, {});
    if (number("SELECT count(*) FROM sqlite_schema") > 0 || number("PRAGMA application_id") != 0) return;
    run(schema_of(newest));
    run(fmt::format("PRAGMA application_id = {}; PRAGMA user_version = {};", application_id, newest));
    transaction.commit();
  }

  void check_version() {
    if (number("PRAGMA application_id") == 0 && number("SELECT count(*) FROM sqlite_schema") == 0)
      refuse("this file is empty: no trim was filed in it", "an archive (trimwright record file makes one)");
    if (number("PRAGMA application_id") != application_id)
      refuse("this is a database, but not an archive of trims", "an archive");
    const auto found = number("PRAGMA user_version");
    version_ = static_cast<int>(found);
    if (found > newest)
      refuse(fmt::format("the archive is of version {}, written by a newer trimwright; nothing was touched",
                         found),
             fmt::format("version {}, or a newer trimwright", newest));
    if (found < 1)
      refuse(
          fmt::format("the archive's version is {}: there has never been one; its file was changed", found),
          "a backup of it");
  }

  [[nodiscard]] Schema schema() {
    Schema found;
    const auto all = prepare(
        "SELECT type || ' ' || name, coalesce(sql, '') FROM sqlite_schema "
        "WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'");
    while (all->step()) found.emplace(all->text(0), all->text(1));
    return found;
  }
  [[nodiscard]] Schema expected_schema() const {
    SqliteDatabase made(":memory:", SQLITE_OPEN_READWRITE);
    made.run(schema_of(version_));
    return made.schema();
  }

  sqlite3* handle_ = nullptr;
};

}  // namespace

std::unique_ptr<Database> open_sqlite(const std::string& path, bool create) {
  auto database =
      std::make_unique<SqliteDatabase>(path, SQLITE_OPEN_READWRITE | (create ? SQLITE_OPEN_CREATE : 0));
  database->make_or_check(create);
  return database;
}

void copy_sqlite(Database& archive, const std::string& path) {
  dynamic_cast<SqliteDatabase&>(archive).copy_to(path);
}

}  // namespace trimwright

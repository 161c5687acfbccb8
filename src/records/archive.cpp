#include "trimwright/records/archive.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <tuple>
#include <utility>

#include "archive_state.hpp"

namespace trimwright {

std::pair<std::int64_t, Digest> last_record(Database& database) {
  Statement last(database, "SELECT number, digest FROM record ORDER BY number DESC LIMIT 1");
  if (!last.step()) return {0, Digest{}};
  return {last.integer(0), last.digest(1)};
}

void refuse(const Database& database, std::string what, std::string expected) {
  throw DatabaseFailure{{std::move(what), std::move(expected), {database.path(), 0, {}}}};
}

namespace {

/// "TrmW", so that `file` and other programs can tell an archive from other databases.
constexpr std::int64_t application_id = 0x54726d57;
constexpr std::int64_t version = 1;

constexpr const char* schema = R"(
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
  content TEXT NOT NULL
) STRICT;
CREATE INDEX record_by_serial ON record (serial);
CREATE INDEX record_by_inputs ON record (inputs);
CREATE INDEX record_by_corrects ON record (corrects) WHERE corrects IS NOT NULL;
CREATE TRIGGER record_is_never_changed BEFORE UPDATE ON record
  BEGIN SELECT RAISE(ABORT, 'a record is never changed: file a correction'); END;
CREATE TRIGGER record_is_never_removed BEFORE DELETE ON record
  BEGIN SELECT RAISE(ABORT, 'a record is never removed: file a correction'); END;
CREATE TRIGGER record_is_added_at_the_end BEFORE INSERT ON record
  WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM record)
  BEGIN SELECT RAISE(ABORT, 'a record is added at the end'); END;
)";

/// Makes a new file an archive; one that is an archive already is left alone. One transaction.
void create_schema(Database& database) {
  Transaction transaction(database);
  const bool is_new = database.number("SELECT count(*) FROM sqlite_schema") == 0 &&
                      database.number("PRAGMA application_id") == 0;
  if (!is_new) return;
  database.run(schema);
  database.run(
      fmt::format("PRAGMA application_id = {}; PRAGMA user_version = {};", application_id, version).c_str());
  transaction.commit();
}

void check_version(Database& database) {
  if (database.number("PRAGMA application_id") != application_id)
    throw DatabaseFailure{
        {"this is a database, but not an archive of trims", "an archive", {database.path(), 0, {}}}};
  const auto found = database.number("PRAGMA user_version");
  if (found == version) return;
  throw DatabaseFailure{
      {fmt::format("the archive is of version {}, written by a newer trimwright; nothing was touched", found),
       fmt::format("version {}, or a newer trimwright", version),
       {database.path(), 0, {}}}};
}

constexpr const char* insert =
    "INSERT INTO record (number, previous, digest, inputs, rotor, serial, station, date, person, verdict, "
    "level, "
    "filed_at, filed_by, software, corrects, reason, content) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)";

/// Files records at the end of an archive, inside a transaction of the caller's.
class Filing {
 public:
  explicit Filing(Database& database)
      : database_(database),
        insert_(database, insert),
        same_(database, "SELECT number FROM record WHERE inputs = ? ORDER BY number LIMIT 1"),
        corrected_(database, "SELECT serial FROM record WHERE number = ?") {
    std::tie(number_, head_) = last_record(database);
  }

  void append(const Record& record) {
    check_not_filed_yet(record);
    check_correction(record);
    const Digest previous = std::exchange(head_, digest_of(number_ + 1, head_, record));
    insert_record(++number_, previous, head_, record);
  }

  [[nodiscard]] std::int64_t number() const { return number_; }
  [[nodiscard]] const Digest& digest() const { return head_; }

 private:
  void check_not_filed_yet(const Record& record) {
    if (record.corrects) return;
    same_.reset();
    same_.bind(1, record.inputs);
    if (!same_.step()) return;
    const auto number = same_.integer(0);
    refuse(database_, fmt::format("this job is filed already, unchanged, as record {}", number),
           fmt::format("another job, or --corrects {} with a --reason", number));
  }

  void check_correction(const Record& record) {
    if (!record.corrects) return;
    corrected_.reset();
    corrected_.bind(1, *record.corrects);
    if (!corrected_.step())
      refuse(database_, fmt::format("there is no record {} to correct", *record.corrects),
             "the number of a record");
    if (corrected_.text(0) != record.serial)
      refuse(database_,
             fmt::format("record {} is of serial \"{}\", not \"{}\"", *record.corrects, corrected_.text(0),
                         record.serial),
             "a record of the same rotor");
  }

  void insert_record(std::int64_t number, const Digest& previous, const Digest& digest,
                     const Record& record) {
    insert_.bind(1, number);
    insert_.bind(2, previous);
    insert_.bind(3, digest);
    insert_.bind(4, record.inputs);
    int at = 5;
    for (const auto* text :
         {&record.rotor, &record.serial, &record.station, &record.date, &record.person, &record.verdict})
      insert_.bind(at++, std::string_view(*text));
    insert_.bind(at++, record.level);
    for (const auto* text : {&record.filed_at, &record.filed_by, &record.software})
      insert_.bind(at++, std::string_view(*text));
    if (record.corrects) {
      insert_.bind(at++, *record.corrects);
    } else {
      insert_.bind_null(at++);
    }
    insert_.bind(at++, std::string_view(record.reason));
    insert_.bind(at++, std::string_view(record.content));
    insert_.step();
    insert_.reset();
  }

  Database& database_;
  Statement insert_, same_, corrected_;
  std::int64_t number_ = 0;
  Digest head_{};
};

}  // namespace

Archive::Archive(std::unique_ptr<State> state) : state_(std::move(state)) {}
Archive::Archive(Archive&&) noexcept = default;
Archive& Archive::operator=(Archive&&) noexcept = default;
Archive::~Archive() = default;

Result<Archive> Archive::open(const std::string& path, Opening how) {
  std::error_code none;
  if (std::filesystem::is_directory(path, none)) return fail("this is a folder", "an archive", {path, 0, {}});
  if (how == Opening::existing && !std::filesystem::exists(path, none))
    return fail("there is no such archive", "an archive (trimwright record file makes one)", {path, 0, {}});
  try {
    const int create = how == Opening::create_if_missing ? SQLITE_OPEN_CREATE : 0;
    auto state = std::make_unique<State>(path, SQLITE_OPEN_READWRITE | create);
    Database& database = state->database;
    sqlite3_db_config(database.handle(), SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
    sqlite3_db_config(database.handle(), SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
    database.run("PRAGMA synchronous = EXTRA; PRAGMA foreign_keys = ON; PRAGMA cell_size_check = ON;");
    if (how == Opening::create_if_missing && database.number("PRAGMA application_id") == 0)
      create_schema(database);
    check_version(database);
    return Archive(std::move(state));
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

Result<StoredRecord> Archive::file(const Record& record) {
  if (const auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  try {
    Transaction transaction(state_->database);
    Filing filing(state_->database);
    const Digest previous = filing.digest();
    filing.append(record);
    transaction.commit();
    return StoredRecord{filing.number(), previous, record, filing.digest(), {}};
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

Result<std::int64_t> Archive::file_all(std::span<const Record> records) {
  for (const auto& record : records)
    if (const auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  try {
    Transaction transaction(state_->database);
    Filing filing(state_->database);
    for (const auto& record : records) filing.append(record);
    transaction.commit();
    return filing.number();
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

Result<void> Archive::back_up(const std::string& path) const {
  std::error_code none;
  if (std::filesystem::exists(path, none))
    return fail("this file is there already", "a new file for each backup", {path, 0, {}});
  const std::string part = path + ".part";
  std::filesystem::remove(part, none);
  try {
    Database copy(part, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
    sqlite3_backup* backup = sqlite3_backup_init(copy.handle(), "main", state_->database.handle(), "main");
    if (backup == nullptr) copy.fail_with(sqlite3_errcode(copy.handle()));
    const int code = sqlite3_backup_step(backup, -1);
    sqlite3_backup_finish(backup);
    if (code != SQLITE_DONE) copy.fail_with(code);
  } catch (const DatabaseFailure& failure) {
    std::filesystem::remove(part, none);
    return tl::unexpected(failure.error);
  }
  std::filesystem::rename(part, path, none);
  if (none)
    return fail("the copy cannot be given its name (" + none.message() + ")",
                "a folder this user may write to", {path, 0, {}});
  return {};
}

}  // namespace trimwright

#include "trimwright/records/archive.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <tuple>
#include <utility>

#include "database.hpp"

namespace trimwright {
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

/// Columns of a stored record in the order that `stored` reads them.
constexpr const char* columns =
    "number, previous, digest, inputs, rotor, serial, station, date, person, verdict, level, filed_at, "
    "filed_by, "
    "software, corrects, reason, content";

/// Into a record that may have held another.
void read_stored(const Statement& row, StoredRecord& one) {
  one.number = row.integer(0);
  one.previous = row.digest(1);
  one.digest = row.digest(2);
  Record& record = one.record;
  record.inputs = row.digest(3);
  int at = 4;
  for (auto* text :
       {&record.rotor, &record.serial, &record.station, &record.date, &record.person, &record.verdict})
    row.text(at++, *text);
  record.level = row.real(at++);
  for (auto* text : {&record.filed_at, &record.filed_by, &record.software}) row.text(at++, *text);
  record.corrects = row.is_null(at) ? std::nullopt : std::optional(row.integer(at));
  row.text(at + 1, record.reason);
  row.text(at + 2, record.content);
}

StoredRecord stored(const Statement& row) {
  StoredRecord one;
  read_stored(row, one);
  return one;
}

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

/// Number and digest of the last record.
std::pair<std::int64_t, Digest> head(Database& database) {
  Statement last(database, "SELECT number, digest FROM record ORDER BY number DESC LIMIT 1");
  if (!last.step()) return {0, Digest{}};
  return {last.integer(0), last.digest(1)};
}

constexpr const char* insert =
    "INSERT INTO record (number, previous, digest, inputs, rotor, serial, station, date, person, verdict, "
    "level, "
    "filed_at, filed_by, software, corrects, reason, content) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)";

[[noreturn]] void refuse(const Database& database, std::string what, std::string expected) {
  throw DatabaseFailure{{std::move(what), std::move(expected), {database.path(), 0, {}}}};
}

/// Files records at the end of an archive, inside a transaction of the caller's.
class Filing {
 public:
  explicit Filing(Database& database)
      : database_(database),
        insert_(database, insert),
        same_(database, "SELECT number FROM record WHERE inputs = ? ORDER BY number LIMIT 1"),
        corrected_(database, "SELECT serial FROM record WHERE number = ?") {
    std::tie(number_, head_) = head(database);
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

struct Archive::State {
  State(const std::string& path, int flags) : database(path, flags) {}
  mutable Database database;
};

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

Result<std::vector<StoredRecord>> Archive::find(const RecordQuery& query) const {
  std::string where;
  std::vector<std::pair<const std::string*, std::optional<double>>> values;
  const auto ask = [&](const std::string& term, const char* condition) {
    if (term.empty()) return;
    where += (where.empty() ? " WHERE " : " AND ") + fmt::format(fmt::runtime(condition), values.size() + 1);
    values.emplace_back(&term, std::nullopt);
  };
  const auto compare = [&](const std::optional<double>& bound, const char* condition) {
    if (!bound) return;
    where += (where.empty() ? " WHERE " : " AND ") + fmt::format(fmt::runtime(condition), values.size() + 1);
    values.emplace_back(nullptr, bound);
  };
  ask(query.serial, "serial = ?{0}");
  ask(query.rotor, "instr(lower(rotor), lower(?{0})) > 0");
  ask(query.station, "instr(lower(station), lower(?{0})) > 0");
  ask(query.person, "(instr(lower(person), lower(?{0})) > 0 OR instr(lower(filed_by), lower(?{0})) > 0)");
  ask(query.verdict, "verdict = ?{0}");
  ask(query.from, "date >= ?{0}");
  ask(query.to, "date <= ?{0}");
  compare(query.level_above, "level > ?{0}");
  compare(query.level_below, "level < ?{0}");
  const std::string sql =
      "SELECT number, previous, digest, inputs, rotor, serial, station, date, person, verdict, level, "
      "filed_at, "
      "filed_by, software, corrects, reason, '', (SELECT max(c.number) FROM record c WHERE c.corrects = "
      "record.number) FROM record" +
      where + fmt::format(" ORDER BY number DESC LIMIT {}", query.most);
  try {
    Statement statement(state_->database, sql);
    for (std::size_t i = 0; i < values.size(); ++i) {
      const int at = static_cast<int>(i) + 1;
      if (values[i].first != nullptr) {
        statement.bind(at, std::string_view(*values[i].first));
      } else {
        statement.bind(at, *values[i].second);
      }
    }
    std::vector<StoredRecord> found;
    while (statement.step()) {
      found.push_back(stored(statement));
      if (!statement.is_null(17)) found.back().corrected_by = statement.integer(17);
    }
    std::reverse(found.begin(), found.end());
    return found;
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

Result<StoredRecord> Archive::read(std::int64_t number) const {
  try {
    Statement statement(state_->database, fmt::format("SELECT {} FROM record WHERE number = ?", columns));
    statement.bind(1, number);
    if (!statement.step())
      refuse(state_->database, fmt::format("there is no record {}", number),
             fmt::format("1 to {}", head(state_->database).first));
    auto one = stored(statement);
    if (digest_of(one.number, one.previous, one.record) != one.digest)
      refuse(state_->database,
             fmt::format("record {} is not as it was filed: its digest does not fit", number),
             "a backup (trimwright record prove tells what else is changed)");
    Statement later(state_->database, "SELECT max(number) FROM record WHERE corrects = ?");
    later.bind(1, number);
    if (later.step() && !later.is_null(0)) one.corrected_by = later.integer(0);
    return one;
  } catch (const DatabaseFailure& failure) {
    return tl::unexpected(failure.error);
  }
}

namespace {

/// What SQLite itself finds wrong with its file.
void check_structure(Database& database, Proof& proof) {
  Statement check(database, "PRAGMA integrity_check(20)");
  while (check.step())
    if (const auto found = check.text(0); found != "ok")
      proof.faults.push_back({0, "the file is damaged: " + found});
}

void check_chain(Database& database, const std::optional<Digest>& expected, Proof& proof) {
  Statement all(database, fmt::format("SELECT {} FROM record NOT INDEXED ORDER BY number", columns));
  StoredRecord one;
  while (all.step()) {
    read_stored(all, one);
    ++proof.records;
    proof.bytes += one.record.content.size();
    if (one.number != proof.records) {
      proof.faults.push_back({one.number, fmt::format("stands where record {} should", proof.records)});
      proof.records = one.number;
    }
    if (one.previous != proof.head)
      proof.faults.push_back(
          {one.number, "does not follow the record before it: one of the two was changed or put in"});
    if (digest_of(one.number, one.previous, one.record) != one.digest)
      proof.faults.push_back({one.number, "is not as it was filed: its digest does not fit"});
    proof.head = one.digest;
    if (expected && one.digest == *expected) proof.expected_at = one.number;
  }
}

}  // namespace

Result<Proof> Archive::prove(const std::optional<Digest>& expected) const {
  Proof proof;
  try {
    state_->database.run("BEGIN");  // one state of the archive, whoever files meanwhile
    check_chain(state_->database, expected, proof);
    check_structure(state_->database, proof);
    state_->database.run("COMMIT");
  } catch (const DatabaseFailure& failure) {
    sqlite3_exec(state_->database.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
    proof.faults.push_back({proof.records + 1, "cannot be read: " + failure.error.what});
  }
  if (expected && !proof.expected_at)
    proof.faults.push_back({0,
                            "no record has the expected digest: records were cut off the end, or made anew "
                            "from some record on"});
  return proof;
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

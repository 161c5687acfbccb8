#include "trimwright/records.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <set>

#include "archive_state.hpp"

namespace trimwright {
namespace {

namespace fs = std::filesystem;

/// SQLite gives some names a meaning of their own; nothing filed under them would be kept.
Result<void> check_path(const std::string& path, Archive::Opening how) {
  const auto refused = [&](const char* what, const char* expected) {
    return fail(what, expected, {path, 0, {}});
  };
  if (path.empty() || path.front() == ':' || path.starts_with("file:"))
    return refused("this is no name of a file", "the path of an archive, or postgresql://...");
  std::error_code none;
  const auto status = fs::status(path, none);
  if (fs::is_directory(status)) return refused("this is a folder", "an archive");
  if (fs::exists(status) && !fs::is_regular_file(status))
    return refused("this is a pipe or a device", "an archive in a file");
  const fs::path folder = fs::path(path).parent_path();
  if (!folder.empty() && !fs::exists(folder, none))
    return refused(("there is no folder " + folder.string()).c_str(), "an archive in a folder that is there");
  if (how == Archive::Opening::existing && !fs::exists(status))
    return refused("there is no such archive", "an archive (trimwright record file makes one)");
  return {};
}

/// What was acknowledged is there for others, too.
void read_back(Database& database, const Placed& filed) {
  const auto again = database.looked_at_again();
  Database& there = again ? *again : database;
  const auto row =
      there.prepare(fmt::format("SELECT {} FROM record WHERE number = ?1", stored_columns(there)));
  row->bind(1, filed.number);
  StoredRecord read;
  if (row->step()) read_stored(there, *row, read);
  if (read.digest == filed.digest && read.holds) return;
  there.refuse(fmt::format("record {} was written and is not there", filed.number),
               "an archive that nothing else writes to");
}

std::set<std::string> stations_of(std::span<const Record> records) {
  std::set<std::string> stations;
  for (const auto& record : records) stations.insert(record.station);
  return stations;
}

/// All or none, in one transaction; where the last one is.
Placed filed_once(std::span<const Record> records, Database& database, bool tell) {
  Transaction transaction(database, stations_of(records));
  database.reserve_numbers(records.size());
  Filing filing(database, tell);
  Placed last;
  for (const auto& record : records) last = filing.append(record);
  transaction.commit();
  read_back(database, last);
  return last;
}

Result<Placed> filed(std::span<const Record> records, Database& database) {
  for (const auto& record : records)
    if (const auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  return caught([&]() -> Result<Placed> {
    try {
      return filed_once(records, database, false);
    } catch (const DatabaseFailure& failure) {
      if (!failure.taken) throw;
      return filed_once(records, database, true);  // now it can be told which record it is
    }
  });
}

}  // namespace

Archive::Archive(std::unique_ptr<State> state) : state_(std::move(state)) {}
Archive::Archive(Archive&&) noexcept = default;
Archive& Archive::operator=(Archive&&) noexcept = default;
Archive::~Archive() = default;

Result<Archive> Archive::open(const std::string& name, Opening how) {
  if (!is_postgres(name))
    if (const auto checked = check_path(name, how); !checked) return tl::unexpected(checked.error());
  return caught([&]() -> Result<Archive> {
    auto state = std::make_unique<State>();
    state->database =
        is_postgres(name) ? open_postgres(name) : open_sqlite(name, how == Opening::create_if_missing);
    return Archive(std::move(state));
  });
}

Result<void> Archive::set_up(const std::string& url) {
  if (!is_postgres(url))
    return fail("only an archive on a server is set up", "postgresql://... (record file makes a file)",
                {url, 0, {}});
  return caught([&]() -> Result<void> {
    set_up_postgres(url);
    return {};
  });
}

Result<StoredRecord> Archive::file(const Record& record) {
  const auto placed = filed({&record, 1}, *state_->database);
  if (!placed) return tl::unexpected(placed.error());
  StoredRecord stored;
  stored.number = placed->number;
  stored.previous = placed->previous;
  stored.digest = placed->digest;
  stored.record = record;
  return stored;
}

Result<std::int64_t> Archive::file_all(std::span<const Record> records) {
  if (records.empty()) return 0;
  const auto last = filed(records, *state_->database);
  if (!last) return tl::unexpected(last.error());
  return last->number;
}

Result<void> Archive::back_up(const std::string& path) const {
  if (state_->database->chain_per_station())
    return fail("an archive on a server is copied by the server's own tools", "pg_dump or pg_basebackup",
                {state_->database->name(), 0, {}});
  std::error_code none;
  if (fs::exists(path, none))
    return fail("this file is there already", "a new file for each backup", {path, 0, {}});
  const std::string part = path + ".part";
  fs::remove(part, none);
  const auto copied = caught([&]() -> Result<void> {
    copy_sqlite(*state_->database, part);
    return {};
  });
  if (!copied) fs::remove(part, none);
  if (!copied) return copied;
  fs::rename(part, path, none);
  if (none)
    return fail("the copy cannot be given its name (" + none.message() + ")",
                "a folder this user may write to", {path, 0, {}});
  return {};
}

}  // namespace trimwright

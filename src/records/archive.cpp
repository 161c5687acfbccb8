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
  if (how == Archive::Opening::existing && !fs::exists(status))
    return refused("there is no such archive", "an archive (trimwright record file makes one)");
  return {};
}

/// What was acknowledged is there for others, too.
void read_back(Database& database, const StoredRecord& filed) {
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
  if (const auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  const auto once = [&] {
    Transaction transaction(*state_->database, {record.station});
    const StoredRecord filed = Filing(*state_->database).append(record);
    transaction.commit();
    read_back(*state_->database, filed);
    return filed;
  };
  return caught([&]() -> Result<StoredRecord> {
    try {
      return once();
    } catch (const DatabaseFailure& failure) {
      if (!failure.taken) throw;
      return once();  // now it can be told which record it is
    }
  });
}

Result<std::int64_t> Archive::file_all(std::span<const Record> records) {
  for (const auto& record : records)
    if (const auto checked = check_record(record); !checked) return tl::unexpected(checked.error());
  return caught([&]() -> Result<std::int64_t> {
    Transaction transaction(*state_->database, stations_of(records));
    Filing filing(*state_->database);
    StoredRecord last;
    for (const auto& record : records) last = filing.append(record);
    transaction.commit();
    if (!records.empty()) read_back(*state_->database, last);
    return last.number;
  });
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
